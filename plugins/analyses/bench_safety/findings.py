"""Says what was too hot and for how long, and what to do about it."""

import math
from collections.abc import Iterator, Sequence

from benchwater.ledger import recent
from benchwater.ledger.pieces import SOFTENING_MARGIN_C, cures_that_melt
from benchwater.plugin import Action, Bench, Card, CardLine, Cell, Finding, Season, Span
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
    bench_cautions,
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
    """Yields what passed a limit, how hot and how long; with the season (`standing`) the lead vapor."""
    yield from _over_limit(found, season.bench)
    yield _hottest("hottest_melt", "metal", found.metal, season)
    if found.plastic.sessions:
        yield _hottest("hottest_plastic", "plastic", found.plastic, season)
    yield _time_at_pot(found, season.bench)
    if standing:
        yield from _vapour(found.metal, season.bench)


def _over_limit(found: Temperatures, bench: Bench) -> Iterator[Finding]:
    """One finding a kind: sessions of metal and of plastic, and batches, each with its own count."""
    melt, plastic = held_at(bench, MELT_ALERT_C), held_at(bench, PLASTIC_CEILING_C)
    read = {
        MELT: (found.metal.read, "session", "", f"melt was above {melt}"),
        PLASTIC: (found.plastic.read, "session", "", f"hot plastic was above {plastic}"),
        OVEN: (found.ovens, "batch", "batches", "oven was too hot for the powder or the heads"),
    }
    worst = max(found.exceedances, key=lambda each: each.value - each.limit, default=None)
    for kind, (of, one, many, what) in read.items():
        if of:
            over = len({each.place for each in found.exceedances if each.kind == kind})
            say = "says" if of == 1 else "say"
            text = f"The {what} in {over or 'none'} of {counted(of, one, many)} that {say} how hot it was."
            urgent = worst is not None and worst.kind == kind
            yield Finding(id="over_limit", text=text, value=over, n=of, group=kind, headline=urgent)
    if not any(of for of, *_ in read.values()):
        text = "No melt or oven temperature was written down, so none could be held against a limit."
        yield Finding(id="over_limit", text=text, n=0)


def held_at(bench: Bench, celsius: float) -> str:
    """Returns a limit as it can be held: to the 10 °F or 5 °C below."""
    step, shift, factor = (10.0, 32.0, 1.8) if bench.system == "us" else (5.0, 0.0, 1.0)
    printed = math.floor((celsius * factor + shift) / step + 1e-6) * step
    return bench.show((printed - shift) / factor, "degC")


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
    parts, more = [], dict[str, Cell]()
    for name, poured in (("metal", found.metal), ("plastic", found.plastic)):
        more |= {f"{name}_sessions": poured.sessions, f"{name}_fills": poured.fills}
        fills = counted(poured.fills, "numbered fill")
        parts.append(f"{name} in {counted(poured.sessions, 'session')} ({fills})")
    hours = [*found.metal.hours, *found.plastic.hours]
    text = f"Poured: {' and '.join(parts)}."
    if hours:
        text += f" {len(hours)} have clock times and took at least {bench.show(sum(hours), 'h')} in all."
    else:
        text += " Time at the pot is not known: a clock time beside the date of first and last fills would "
        text += "tell."
    return Finding(id="time_at_pot", text=text, value=sum(hours) if hours else None, unit="h", more=more)


def _vapour(metal: Poured, bench: Bench) -> Iterator[Finding]:
    """How much lead the air over the hottest melt can hold, where that is or may be lead."""
    if metal.hottest is None or metal.hottest.value < LEAD_MELTS_C:
        return
    material = metal.hottest.name.partition(",")[0]
    lead = bench.items[material].holds_lead
    if lead is False:
        return
    bound = saturated_lead_vapour(metal.hottest.value)
    heat, most = bench.show(metal.hottest.value, "degC"), f"{figures(bound, significant=2)} {VAPOUR_UNIT}"
    text = f"{material} is lead: at" if lead else f"Whether {material} holds lead is not said. If so, at"
    text += f" {heat} the air right over it takes up as much as {most} of lead. Nobody measured what was "
    text += "breathed, and no temperature is safe: dust, fume and unwashed hands follow no thermometer."
    yield Finding(id="lead_vapour_bound", text=text, value=bound, unit=VAPOUR_UNIT, quiet=True)


def all_actions(found: Sequence[Exceedance], season: Season, standing: bool) -> Iterator[Action]:
    """Yields what to do about each kind of thing that was too hot, and about cures that are only planned.

    Advice `holds` once nothing was too hot in recent months.
    """
    bench = season.bench
    for kind, id, ceiling, text, urgent in (
        (MELT, "melt-too-hot", MELT_ALERT_C, "melt below {}: read it before the first fill", True),
        (
            PLASTIC,
            "plastic-too-hot",
            PLASTIC_CEILING_C,
            "hot plastic below {}, and stop at the first smoke",
            False,
        ),
    ):
        over, lately = [each for each in found if each.kind == kind], recent(season, "pour")
        if over:
            late = [each for each in over if each.date >= lately.start]
            because = _passed(late or over, season) + ("" if late else f" Not since, in {lately.label}.")
            text, urgent = f"Keep {text.format(held_at(bench, ceiling))}.", urgent and bool(late)
            yield Action(id=id, text=text, because=because, urgent=urgent, holds=not late)
    whole = Span(name="season", label="season", start=season.start, end=season.end)
    if standing and not len(rows_or_none(season, "finishing", whole)):
        planned = "; ".join(f"{build} ({where})" for build, where in cures_that_melt(bench).items())
        if planned:
            text = "Keep heads out of the oven where their own metal begins to melt."
            because = f"Planned in bench.toml: {planned}."
            yield Action(id="cure-melts-heads", text=text, because=because, urgent=True)


def _passed(found: Sequence[Exceedance], season: Season) -> str:
    """Returns `Hotter in 3 sessions: 925 °F on 4 July (melt of alloy) at worst.`."""
    top = max(found, key=lambda each: each.value)
    heat, day = season.bench.show(top.value, "degC"), day_words(top.date, season.end)
    worst = f"{heat} on {day} ({top.what})"
    if len(found) == 1:
        return f"It was hotter once: {worst}."
    return f"It was hotter in {len(found)} sessions, {worst} the most."


def all_cards(season: Season) -> tuple[Card, ...]:
    """Returns the cautions that prevent injury, and for each metal mold whether its metal holds lead."""
    bench = season.bench
    more = "All cautions, with sources: Bench safety in season-report.html."
    said = (*((each["about"], each["card"]) for each in bench_cautions() if each["card"]), ("More", more))
    lines = tuple(CardLine(label=label, text=text) for label, text in said)
    cautions = Card(id="warnings", title="At the bench", order=10, lines=lines, wide=True, warning=True)
    poured = set(season.log("pour")["mold"].unique()) if season.holds("pour") else set()
    molds = (
        Card(id=f"mold:{name}", title=name, order=30, lines=(_lead(bench, mold.material),))
        for name, mold in bench.molds.items()
        if bench.items[mold.material].kind == "metal" and name in poured
    )
    return (cautions, *molds)


def _lead(bench: Bench, material: str) -> CardLine:
    lead, text = bench.items[material].holds_lead, f"none in {material}, by bench.toml"
    if lead is not False:
        text = "yes: wash hands before you eat" if lead else "not said: treat the metal as lead"
    return CardLine(label="Lead", text=text)
