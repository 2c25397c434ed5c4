"""Says what was too hot and for how long, and what to do about it."""

from collections.abc import Iterator, Sequence

from benchwater.ledger.pieces import SOFTENING_MARGIN_C, softens
from benchwater.plugin import Action, Bench, Cell, Finding, Season, Span
from benchwater.units import figures
from benchwater.words import counted, day_words

from .compute import (
    COMMON_PRACTICE,
    LEAD_MELTS_C,
    MELT,
    MELT_ALERT_C,
    OVEN,
    PLASTIC,
    PLASTIC_CEILING_C,
    PROJECT_CHOICE,
    Exceedance,
    Poured,
    Temperatures,
    rows_or_none,
    saturated_lead_vapour,
)

VAPOUR_UNIT = "µg/m³"
METHODS = (
    f"Melt: an alert above {MELT_ALERT_C:.0f} °C (842 °F), and 482 °C (900 °F) as never to be passed: "
    f"{PROJECT_CHOICE}. Hot plastic: {PLASTIC_CEILING_C:.0f} °C (374 °F), {COMMON_PRACTICE}. Oven: the upper "
    f"end of the coat's window in bench.toml, and {SOFTENING_MARGIN_C:.0f} K (18 °F) below where the head's "
    f"alloy begins to melt (margin: {PROJECT_CHOICE}). A session counts once, by its hottest reading and the "
    "highest limit that it passed; a batch once a limit.",
    "Lead vapor: log10(P/Pa) = 9.917 − 9701/T over liquid lead (Alcock, Itkin and Horrigan 1984, as in the "
    "CRC Handbook), an ideal gas in air at the surface.",
    "Limits, rules and cautions: as read, each row with its source and how it was checked in the JSON twin; "
    "this program does not keep them up to date.",
)


def all_findings(found: Temperatures, season: Season, standing: bool) -> Iterator[Finding]:
    """Yields what passed a limit, how hot and how long; with the season (`standing`) the lead vapour."""
    yield _over_limit(found)
    yield _hottest("hottest_melt", "metal", found.metal, season)
    if found.plastic.sessions:
        yield _hottest("hottest_plastic", "plastic", found.plastic, season)
    yield _time_at_pot(found, season.bench)
    if standing:
        yield from _vapour(found.metal, season.bench)


def _over_limit(found: Temperatures) -> Finding:
    if not found.readings:
        text = "No melt or oven temperature was written down, so none could be held against a limit."
        return Finding(id="over_limit", text=text, n=0)
    many = found.exceedances
    more: dict[str, Cell] = {kind: sum(each.kind == kind for each in many) for kind in (MELT, PLASTIC, OVEN)}
    kinds = ", ".join(f"{kind} {count}" for kind, count in more.items() if count)
    of = f"{counted(found.readings, 'temperature')} written down"
    were = "was" if len(many) == 1 else "were"
    text = f"{len(many)} of {of} {were} over a limit: {kinds}." if many else f"None of {of} was over a limit."
    return Finding(id="over_limit", text=text, value=len(many), n=found.readings, more=more)


def _hottest(id: str, name: str, poured: Poured, season: Season) -> Finding:
    """The hottest reading, with its day, and how many sessions had none."""
    peak, unread = poured.hottest, poured.unread
    if peak is None:
        text = f"No temperature of molten {name} was written down."
        return Finding(id=id, text=text, unit="degC", n=0)
    text = f"Hottest {name}: {season.bench.show(peak.value, 'degC')} ({peak.name}, "
    text += f"{day_words(peak.day, season.end)})."
    text += f" In {unread} of {poured.sessions} sessions none was written down." if unread else ""
    more: dict[str, Cell] = {"date": peak.day, "material": peak.name}
    return Finding(id=id, text=text, value=peak.value, unit="degC", n=poured.readings, more=more)


def _time_at_pot(found: Temperatures, bench: Bench) -> Finding:
    """Sessions and fills, and the hours between first and last row where rows carry clock times."""
    parts = []
    more: dict[str, Cell] = {}
    for name, poured in (("metal", found.metal), ("plastic", found.plastic)):
        more |= {f"{name}_sessions": poured.sessions, f"{name}_fills": poured.fills}
        fills = counted(poured.fills, "numbered fill")
        parts.append(f"{name} in {counted(poured.sessions, 'session')} ({fills})")
    hours = [*found.metal.hours, *found.plastic.hours]
    text = f"Poured: {' and '.join(parts)}."
    if hours:
        text += f" {len(hours)} have clock times and took at least {bench.show(sum(hours), 'h')} in all."
    else:
        text += (
            " Time at the pot is not known: a clock time beside the date of first and last fills would tell."
        )
    return Finding(id="time_at_pot", text=text, value=sum(hours) if hours else None, unit="h", more=more)


def _vapour(metal: Poured, bench: Bench) -> Iterator[Finding]:
    """How much lead the air over the hottest melt can hold."""
    if metal.hottest is None or metal.hottest.value < LEAD_MELTS_C:
        return
    bound = saturated_lead_vapour(metal.hottest.value)
    heat, most = bench.show(metal.hottest.value, "degC"), f"{figures(bound, significant=2)} {VAPOUR_UNIT}"
    text = (
        f"If the alloy holds lead: air in equilibrium with pure lead at {heat} holds at most {most} of "
        "vapor, at the surface. This is NOT an exposure estimate, and no temperature is safe: dust, fume and "
        "unwashed hands follow no thermometer."
    )
    yield Finding(id="lead_vapour_bound", text=text, value=bound, unit=VAPOUR_UNIT, quiet=True)


def all_actions(found: Sequence[Exceedance], season: Season, standing: bool) -> Iterator[Action]:
    """Yields what to do about each kind of thing that was too hot, and about cures that are only planned."""
    bench = season.bench
    over = {kind: [each for each in found if each.kind == kind] for kind in (MELT, PLASTIC)}
    passed = {kind: _passed(many, season) for kind, many in over.items() if many}
    if over[MELT]:
        alert = bench.show(MELT_ALERT_C, "degC")
        yield Action(
            id="melt-too-hot",
            text=f"Keep the melt below {alert}: read it before the first fill, and turn the pot down.",
            because=f"{passed[MELT]} The limit is a {PROJECT_CHOICE}.",
            urgent=True,
        )
    if over[PLASTIC]:
        ceiling = bench.show(PLASTIC_CEILING_C, "degC")
        yield Action(
            id="plastic-too-hot",
            text=f"Keep hot plastic below {ceiling}, and stop at the first browning or smoke.",
            because=f"{passed[PLASTIC]} Scorched PVC gives off hydrogen chloride ({COMMON_PRACTICE}).",
        )
    whole = Span(name="season", label="season", start=season.start, end=season.end)
    if standing and not len(rows_or_none(season, "finishing", whole)):
        planned = list(_cannot_cure(bench))
        if planned:
            yield Action(
                id="cure-melts-heads",
                text="Keep heads out of the oven where their own metal begins to melt.",
                because=f"Planned in bench.toml: {'; '.join(planned)}.",
                urgent=True,
            )


def _passed(found: Sequence[Exceedance], season: Season) -> str:
    """Returns `Over it 3 times, the hottest 925 °F on 4 July (melt of alloy).`."""
    top = max(found, key=lambda each: each.value)
    heat, day = season.bench.show(top.value, "degC"), day_words(top.date, season.end)
    if len(found) == 1:
        return f"Over it once: {heat} on {day} ({top.what})."
    return f"Over it {len(found)} times, the hottest {heat} on {day} ({top.what})."


def _cannot_cure(bench: Bench) -> Iterator[str]:
    """Yields builds whose coat cures at no less than where their head begins to melt or soften."""
    for build in bench.builds.values():
        cure = bench.items[build.coat].cure if build.coat else None
        alloy = bench.items[bench.material_of(build.head[0])] if build.head else None
        if cure is None or alloy is None or cure.min_temp_c is None or alloy.melts_c is None:
            continue
        if softens(cure.min_temp_c, alloy.melts_c):
            heat, melts = bench.show(cure.min_temp_c, "degC"), bench.show(alloy.melts_c, "degC")
            yield f"{build.name} ({build.coat} cures from {heat}, {alloy.name} melts from {melts})"
