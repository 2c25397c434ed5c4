"""Which baits hold lead, and which of them the maker's notes on a water forbid there."""

from typing import Literal

from benchwater.ledger import computed_once
from benchwater.plugin.bench import Build, Water
from benchwater.plugin.season import Season

Verdict = Literal["forbidden", "allowed", "not known"]


@computed_once
def lead_by_build(season: Season) -> dict[str, bool | None]:
    """Whether each build holds lead, by every metal that its head was ever poured from and by its fittings.

    None where that cannot be told: bench.toml does not say of one of them, and none of them is lead.
    """
    poured: dict[tuple[str, str], set[str]] = {}
    if season.holds("pour"):
        rows = season.log("pour")[["mold", "cavity", "material"]].drop_duplicates()
        for mold, cavity, material in rows.astype("object").itertuples(index=False, name=None):
            usual = season.bench.material_of(mold, material if isinstance(material, str) else None)
            poured.setdefault((mold, cavity), set()).add(usual)
    return {name: _holds_lead(build, season, poured) for name, build in season.bench.builds.items()}


def _holds_lead(build: Build, season: Season, poured: dict[tuple[str, str], set[str]]) -> bool | None:
    bench = season.bench
    metals = poured.get(build.head, {bench.molds[build.head[0]].material}) if build.head else set()
    parts = [bench.items[name] for name in (*sorted(metals), *build.fittings) if name in bench.items]
    told = [item.holds_lead for item in parts if item.kind == "metal" or item.holds_lead is not None]
    if any(told):
        return True
    return None if None in told else False


def verdict(season: Season, build: str, water: Water) -> Verdict:
    """What the maker's note on a water says of a build; `not known` where its lead or size is not written."""
    lead = lead_by_build(season)[build]
    if lead is False:
        return "allowed"
    recipe = season.bench.builds[build]
    limit, size = water.no_lead_up_to_g, _mass_g(recipe, season)
    if water.no_lead_up_to_mm is not None:
        limit, size = water.no_lead_up_to_mm, recipe.length_mm
    if limit is not None and size is not None and size > limit:
        return "allowed"
    return "forbidden" if lead and (limit is None or size is not None) else "not known"


def _mass_g(build: Build, season: Season) -> float | None:
    return season.bench.cavity(*build.head).mass_g if build.head else None
