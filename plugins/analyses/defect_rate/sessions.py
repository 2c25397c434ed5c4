"""Sessions that went worse than chance does, mold by mold."""

import math

import numpy as np
import pandas as pd

from benchwater.plugin import Action, Cell, Finding
from benchwater.statistics.clustered import design_effect
from benchwater.words import listed, make_finding

from .control_charts import ControlChart, p_chart
from .draft import ENOUGH_CASTINGS, ENOUGH_FLAWED, ENOUGH_SESSIONS, Draft
from .pictures import session_chart

MOST_CHARTS, MOST_SAID = 2, 8


def by_session(draft: Draft, molds: list[str]) -> None:
    """One p-chart a mold, its limits widened by how much fills of one session differ."""
    rows: list[tuple[Cell, ...]] = []
    charts: list[tuple[str, pd.DataFrame, ControlChart]] = []
    for mold in molds:
        fills = draft.of(mold)
        session, place = np.unique(fills["session"].cat.codes, return_inverse=True)
        effect = design_effect(fills["rejects"], fills["castings"], place)
        castings, rejects = (
            np.bincount(place, fills[name]).astype(np.int64) for name in ("castings", "rejects")
        )
        median = fills["mold_temp_c"].groupby(place).median().to_numpy()
        names = fills["session"].cat.categories[session]
        table = pd.DataFrame(
            {"session": names, "castings": castings, "rejects": rejects, "mold_temp_c": median}
        )
        chart = p_chart(table["rejects"], table["castings"], sigmas=3 * math.sqrt(effect))
        charts.append((mold, table, chart))
        judged = len(table) >= ENOUGH_SESSIONS
        if judged:
            draft.findings.append(_signals(draft, mold, table, chart))
        signal = chart.signal & judged
        center = np.full(len(table), chart.center)
        counts = (table[name].tolist() for name in ("session", "castings", "rejects"))
        charted = (chart.value, center, chart.lower, chart.upper, signal)
        rows += zip(*counts, *(cells.tolist() for cells in charted), strict=True)
        enough = (table["castings"].sum() >= ENOUGH_CASTINGS) & (table["rejects"] >= ENOUGH_FLAWED)
        for session, made, bad, temp in table[signal & enough & (chart.value > chart.center)].itertuples(
            index=False
        ):
            _odd_session(draft, mold, str(session), int(made), int(bad), float(temp), chart.center)
    draft.tables["sessions"] = sorted(rows, key=lambda row: str(row[0]))
    drawn = [entry for entry in charts if len(entry[1]) >= ENOUGH_SESSIONS]
    worst = sorted(drawn, key=lambda entry: -int(entry[1]["rejects"].sum()))[:MOST_CHARTS]
    draft.figures += [session_chart(draft, *entry) for entry in worst]


def _signals(draft: Draft, mold: str, table: pd.DataFrame, chart: ControlChart) -> Finding:
    """The sessions beyond their limits, in words; quiet where there is none."""
    beyond = table[chart.signal][["session", "castings", "rejects"]]
    odd = [
        f"{draft.sitting(session, mold)} ({bad} of {made} bad)"
        for session, made, bad in beyond.itertuples(index=False)
    ]
    usual = f"beyond what chance does around {draft.share(chart.center)}"
    text = f"{mold}: none of {len(table)} sessions is {usual}."
    if odd:
        text = f"{mold}: {len(odd)} of {len(table)} sessions {'is' if len(odd) == 1 else 'are'} {usual}: "
        text += f"{listed(odd, MOST_SAID)}."
    return make_finding("session_signals", text, (len(odd),), n=len(table), group=mold, quiet=not odd)


def _odd_session(
    draft: Draft, mold: str, session: str, made: int, bad: int, temp: float, usual: float
) -> None:
    """Name a session out of control, unless its temperature says why."""
    found = draft.windows.get(mold)
    if found is not None and (temp < (found.first_met or -273) or temp > (found.top or math.inf)):
        return
    rows = draft.poured[mold][draft.poured[mold]["session"] == session]
    because = f"{bad} of {made} castings were bad, where {draft.share(usual)} are as a rule. "
    because += "The temperature " + (
        "was not logged" if math.isnan(temp) else f"({draft.temp(temp)}) is no reason"
    )
    text = f"Look for what was different with {mold} on {draft.sitting(session, mold)}"
    worth = draft.worth(rows, "rejects", 1 - usual * made / bad)
    draft.actions.append(Action(id=f"session:{session}", text=text, because=because, **worth))
