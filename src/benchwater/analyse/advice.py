"""The report's own list of actions: ranked, and compared with what the reports of earlier months gave."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from benchwater.analyse.report import RankedAction, ReportSection
from benchwater.analyse.run import merged_actions, run_analyses
from benchwater.analyse.spans import Spans
from benchwater.plugin.bench import Bench
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Action, Section
from benchwater.plugin_host.loaded import LoadedPlugin

MONTHS_BACK = 3
_Key = tuple[str, str]
_BLOCK = {"new": 0, "open": 0, "holds": 1, "mended": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class PastAction:
    """An action as the month before gave it; `since` is the first of the months in a row that gave it.

    One that `holds` and the same one when it does not hold are not the same. `or_earlier` says that the first
    month may lie before those looked at.
    """

    action: Action
    since: date
    or_earlier: bool
    span: Span


def rank_actions(
    sections: Sequence[ReportSection],
    bench: Bench,
    spans: Spans,
    past: Mapping[_Key, PastAction] | None = None,
) -> tuple[RankedAction, ...]:
    """Return every action with its state: those to do next, then those that hold, then those mended.

    Urgent ones come first, then by worth, then in the order of the report. A bait is worth the mean shop
    price of the bench's builds. An action is mended if the month before asked for it and this report does
    not, though every span of its section has enough data.
    """
    prices = [build.bought_price for build in bench.builds.values() if build.bought_price is not None]
    bait_price = sum(prices) / len(prices) if prices else 0.0

    def rank(entry: RankedAction) -> tuple[int, bool, float]:
        worth = (entry.action.worth or 0.0) * (bait_price if entry.action.worth_unit == "baits" else 1.0)
        return _BLOCK[entry.state], not entry.action.urgent, -worth

    ranked = [
        entry
        for section in sections
        for entry in (*_given(section, spans, past or {}), *_mended(section, past or {}))
    ]
    return tuple(sorted(ranked, key=rank))


def past_actions(
    analyses: Sequence[tuple[Analysis, LoadedPlugin]],
    months: Sequence[Spans],
    gather: Callable[[Spans], Season],
) -> dict[_Key, PastAction]:
    """Return what the report of the month before gave, by section and action id, and since when.

    `months` are the spans of earlier reports of the season, the latest first, of which `MONTHS_BACK` are
    looked at. Of each the actions of its season to date are taken: what only the rows of one month give is
    new in each month. Older months are analysed only where an action may go back.
    """
    past: dict[_Key, PastAction] = {}
    unsettled = past
    for place, month in enumerate(months[:MONTHS_BACK]):
        wanted = {section_id for section_id, _ in unsettled}
        concerned = [
            (_advice_alone(analysis), plugin)
            for analysis, plugin in analyses
            if place == 0 or analysis.id in wanted
        ]
        given = {
            (section.id, action.id): PastAction(
                action=action, since=month.latest_month, or_earlier=False, span=month.recent
            )
            for section in run_analyses(concerned, gather(month), month.parts[-1:])
            for action in merged_actions(section)
        }
        unsettled = given if place == 0 else _carried_on(unsettled, given)
        past |= unsettled
    if len(months) > MONTHS_BACK:
        past |= {key: replace(entry, or_earlier=True) for key, entry in unsettled.items()}
    return past


def _advice_alone(analysis: Analysis) -> Analysis:
    """Return the analysis with a section of its actions and nothing else, where it gives these apart."""
    advise = analysis.advise
    if advise is None:
        return analysis
    return replace(
        analysis,
        analyse=lambda season, span: Section(status="ok", actions=tuple(advise(season, span))),
    )


def _carried_on(later: Mapping[_Key, PastAction], given: Mapping[_Key, PastAction]) -> dict[_Key, PastAction]:
    """Return those that the month before gave as well, since that month."""
    return {
        key: replace(entry, since=given[key].since)
        for key, entry in later.items()
        if key in given and given[key].action.holds == entry.action.holds
    }


def _given(section: ReportSection, spans: Spans, past: Mapping[_Key, PastAction]) -> Iterator[RankedAction]:
    for action in merged_actions(section):
        before = past.get((section.id, action.id))
        again = before is not None and before.action.holds == action.holds
        yield RankedAction(
            action=action,
            section_id=section.id,
            section_title=section.title,
            state="holds" if action.holds else "open" if again else "new",
            since=before.since if before is not None and again else spans.latest_month,
            or_earlier=before.or_earlier if before is not None and again else False,
            span=spans.recent,
        )


def _mended(section: ReportSection, past: Mapping[_Key, PastAction]) -> Iterator[RankedAction]:
    if any(part.section.status != "ok" for part in section.parts):
        return
    given = {action.id for action in merged_actions(section)}
    for (section_id, action_id), entry in past.items():
        if section_id == section.id and action_id not in given and not entry.action.holds:
            yield RankedAction(
                action=entry.action,
                section_id=section.id,
                section_title=section.title,
                state="mended",
                since=entry.since,
                or_earlier=entry.or_earlier,
                span=entry.span,
            )
