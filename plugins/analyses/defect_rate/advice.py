"""What to do about a mold's temperature: hotter, no inserts before it is warm, a rest."""

from benchwater.plugin import Action

from .draft import Draft
from .temperature import gap_around


def temperature_advice(draft: Draft, mold: str, warm_up: str) -> None:
    """What to do about a mold's temperature, where the logs show it.

    Where they skip over the temperature in question, it is the edge of the gap at which castings were good.
    """
    found, rows = draft.windows.get(mold), draft.poured[mold]
    if found is None or found.window is None:
        return
    temps = draft.temps(rows)
    goal = draft.share(draft.bench.plan.target_reject_rate)
    if found.falls and found.window.first_met is None and found.window.best == found.hottest:
        text = f"Pour {mold} hotter than {draft.temp(found.hottest)}, the hottest logged"
        because = f"short fills and cold shuts still fall there, and bad castings are not yet down to {goal}"
        worth = draft.worth(rows, "cold")
        draft.actions.append(Action(id=f"hotter:{mold}", text=text, because=because, **worth))
    if found.falls and found.first_met is not None and rows.loc[temps < found.first_met, "cold"].sum():
        below = rows[temps < found.first_met]
        bad, made = int(below["cold"].sum()), int(below["castings"].sum())
        from_on = (gap_around(draft, mold, found.first_met) or (0, found.first_met))[1]
        text = f"Lay no inserts into {mold} before it reads {draft.temp(from_on)}"
        text += f": {warm_up}" if warm_up else ""
        because = f"{bad} of the {made} castings poured colder were short fills or cold shuts. From there on "
        because += f"no more than {goal} of all castings go bad"
        worth = draft.worth(below, "cold")
        draft.actions.append(Action(id=f"warm:{mold}", text=text, because=because, **worth))
    if found.rises and found.top is not None and rows.loc[temps > found.top, "hot"].sum():
        above = rows[temps > found.top]
        bad, made = int(above["hot"].sum()), int(above["castings"].sum())
        up_to = (gap_around(draft, mold, found.top) or (found.top,))[0]
        text = f"Rest {mold} when it reads more than {draft.temp(up_to)}"
        because = f"{bad} of the {made} castings poured hotter had flash or porosity"
        worth = draft.worth(above, "hot")
        draft.actions.append(Action(id=f"rest:{mold}", text=text, because=because, **worth))
