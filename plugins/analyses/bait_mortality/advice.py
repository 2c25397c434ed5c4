"""What to do: tie a leader, fit guards, keep good baits out of a place."""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from benchwater.ledger.bait_lives import together
from benchwater.plugin import Action
from benchwater.words import counted

from .bait_contrasts import Contrast
from .group_words import ends_in_hours, ratio_words

if TYPE_CHECKING:
    import pandas as pd


def advice(rows: "pd.DataFrame", contrasts: Sequence[Contrast]) -> Iterable[Action]:
    """Advice from the comparisons that call for it; of habitats only the worst."""
    asking: dict[str, Contrast] = {}
    for contrast in contrasts:
        if contrast.clear and contrast.rates.worse_throughout and contrast.like is None:
            asking.setdefault(contrast.name, contrast)
    if leader := asking.get("leader, bite offs"):
        places = rows.loc[(rows["cause"] == "bite off") & rows["habitat"].notna(), "habitat"].map(together)
        most = places.value_counts().sort_index().sort_values(ascending=False, kind="stable")
        place = f" Bite offs came most often in {most.index[0]} ({most.iloc[0]})." if len(most) else ""
        text = f"baits without one were bitten off {ratio_words(leader.rates.crude)} as often per hour."
        text = f"Tie a leader where pickerel or other teeth hunt: {text}"
        yield _action("tie_a_leader", text, leader, "in like habitat", place)
    if guard := asking.get("guard, snags"):
        text = f"baits without one were lost to snags {ratio_words(guard.rates.crude)} as often per hour."
        text = f"Put guards on what you fish among snags: {text}"
        yield _action("fit_guards", text, guard, "in like habitat")
    if spot := asking.get("habitat, snags"):
        text = f"snags took {ratio_words(spot.rates.crude)} as many per hour there as elsewhere."
        text = f"Take only baits you can spare into {spot.group}: {text}"
        id = "_".join(["snags", *spot.group.replace("+", " ").split()])
        yield _action(id, text, spot, "with like leaders")


def _action(id: str, text: str, c: Contrast, alike: str, more: str = "") -> Action:
    excess = math.floor(c.rates.excess)
    because = f"{c.cause.capitalize()}s: {ends_in_hours(c)}; {alike} {ratio_words(c.rates.within)}. "
    because += f"At the lower rate {counted(excess, 'bait')} fewer would have gone.{more}"
    return Action(id=id, text=text, because=because, worth=float(excess), worth_unit="baits")
