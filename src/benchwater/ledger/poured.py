"""The castings of the pour log by what they are: mold, cavity, outcome and material."""

from typing import NamedTuple

from benchwater.ledger import computed_once
from benchwater.ledger.log_columns import Groups, grouped, renamed
from benchwater.plugin.season import Season

Piece = tuple[str, str]


class Poured(NamedTuple):
    """What castings are: those whose row names no material are of their mold's."""

    mold: str
    cavity: str
    outcome: str
    material: str

    @property
    def piece(self) -> Piece:
        """Mold and cavity."""
        return self.mold, self.cavity


@computed_once
def castings(season: Season) -> Groups[Poured]:
    """The rows of the pour log, up to the report's end, by what was poured."""

    def what(mold: str, cavity: str, outcome: str, material: str | None) -> Poured:
        return Poured(mold, cavity, outcome, season.bench.material_of(mold, material))

    return renamed(grouped(season, "pour", "mold", "cavity", "outcome", "material"), what)
