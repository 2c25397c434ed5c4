"""The table of waters and builds."""

from collections.abc import Sequence

from benchwater.plugin import Table
from benchwater.words import make_columns, make_table

from .compute import WaterRule

_COLUMNS = make_columns(
    ("water", "Water"), ("build", "Build"), ("verdict", "By your note"), ("last", "Last carried")
)


def table(rules: Sequence[WaterRule]) -> Table:
    """One row for each build that may not go to a water, or of which it cannot be told."""
    rows = [
        (
            rule.water.name,
            build,
            said,
            max((day for day, name in rule.carried if name == build), default=None),
        )
        for rule in rules
        for said, builds in (("stays at home", rule.forbidden), ("cannot be told", rule.not_known))
        for build in builds
    ]
    return make_table("lead_rules", "Baits and waters", "water build verdict last", rows, _COLUMNS)
