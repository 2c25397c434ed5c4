"""What was drawn, as files: `drawn.csv` names the seasons that were not right, `summary.md` the shares."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from simulations.studies import PROTOCOL, STUDIES
from simulations.study import Outcome

DRAWN = Path(__file__).with_name("drawn.csv")
COLUMNS = ("study", "seasons", "not held", "none given")


def drawn_text(marks: Mapping[str, str]) -> str:
    """The marks of each study by name, as the seasons (counted from 0) that did not hold or gave nothing."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for name, line in marks.items():
        places = [" ".join(str(at) for at, mark in enumerate(line) if mark == what) for what in "0-"]
        writer.writerow([name, len(line), *places])
    return text.getvalue()


def drawn_marks(text: str) -> dict[str, str]:
    """The reverse of `drawn_text`."""
    marks = {}
    for row in csv.DictReader(io.StringIO(text)):
        line = ["1"] * int(row["seasons"])
        for column, mark in (("not held", "0"), ("none given", "-")):
            for at in row[column].split():
                line[int(at)] = mark
        marks[row["study"]] = "".join(line)
    return marks


def outcomes() -> list[Outcome]:
    """What `drawn.csv` holds, in the order of the studies."""
    marks = drawn_marks(DRAWN.read_text(encoding="utf-8"))
    return [Outcome(study=study, marks=marks[study.name]) for study in STUDIES]


def summary_text(found: Sequence[Outcome]) -> str:
    """The text of summary.md."""
    lines = [
        "# How often the intervals and verdicts are right",
        "",
        "Small seasons drawn at random, each with a truth of its own, analysed as the shipped analyses do.",
        "Level of every interval: 95 %, k = 2 for balances. `right` is the share of seasons in which the",
        "interval held the truth, or the verdict was right; `error` its standard error.",
        "",
        *PROTOCOL,
        "",
        "| what | drawn | seasons | without one | right | error | asked | |",
        "| --- | --- | ---: | ---: | ---: | ---: | --- | --- |",
    ]
    notes: list[str] = []
    for outcome in found:
        study = outcome.study
        drawn = (study.draw.__doc__ or "").split("\n")[0].rstrip(".")
        error = (outcome.share * (1 - outcome.share) / outcome.stated) ** 0.5
        if study.above and study.above not in notes:
            notes.append(study.above)
        note = f" ({notes.index(study.above) + 1})" if study.above else ""
        asked = f"{100 * study.low:.0f} to {100 * study.high:.0f} %"
        cells = (
            *(study.name, drawn, len(outcome.marks), len(outcome.marks) - outcome.stated),
            *(f"{100 * outcome.share:.1f} %", f"{100 * error:.1f} %", asked, f"{outcome.place}{note}"),
        )
        lines.append(f"| {' | '.join(str(cell) for cell in cells)} |")
    lines += ["", "May lie above what is asked:", ""]
    lines += [f"{number}. {note[0].upper()}{note[1:]}." for number, note in enumerate(notes, 1)]
    return "\n".join(lines) + "\n"
