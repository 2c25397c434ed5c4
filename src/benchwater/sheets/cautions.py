"""The reminder strip: the usual cautions of bench and water, short enough to be read with gloves on."""

from benchwater.plugin.logs import LogKind
from benchwater.sheets.sheet import Caution

_BENCH = (
    ("Molten metal", "Nothing wet near the pot: water throws melt. Shield, gloves, shoes."),
    ("Lead", "Air it out. No food, smoke or children. Wash first; wipe wet."),
    ("Hot plastic", "Vent it. Smoke or browning: stop and leave. A splash burns."),
    ("Ovens", "Never for food again, nor the pans. No flame near powder."),
    ("Burns", "Cool running water, 10 to 20 minutes. If bad: a doctor."),
)
_WATER = (("On the water", "Life jacket on. Wash lead off your hands before you eat."),)
_OF_THE_WATER = frozenset({"water", "angler", "trip", "habitat", "fished"})


def cautions_for(kind: LogKind) -> tuple[Caution, ...]:
    """All of them, those of the place where this log is kept first: waters and trips are of the boat."""
    afloat = any(column.name in _OF_THE_WATER for column in kind.columns)
    bench = tuple(Caution(about=about, what=what, here=not afloat) for about, what in _BENCH)
    water = tuple(Caution(about=about, what=what, here=afloat) for about, what in _WATER)
    return water + bench if afloat else bench + water
