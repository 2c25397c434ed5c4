"""The finishing log: one row per batch coated and cured.

date,mold,cavity,coat,count,part_temp,cure_temp,cure_time,rejects,flaw,note
2026-04-05,round-jig,1/8,chartreuse,24,330 F,350 F,20 min,1,bare spot,
"""

from collections.abc import Iterable, Mapping
from pathlib import Path

from benchwater.plugin import Bench, Column, LogKind, RowProblem, hookimpl, with_everyday_words

FLAWS = ("bare spot", "sag", "blocked guard hole", "soft coat", "other")


def check_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """A coat is a coating, and no batch has more rejects than pieces."""
    coat, count, rejects = row["coat"], row["count"], row["rejects"]
    if isinstance(coat, str) and bench.items[coat].kind != "coat":
        yield RowProblem(column="coat", why=f"is kept as {bench.items[coat].kind}, and not as a coat")
    if isinstance(count, int) and count == 0:
        yield RowProblem(column="count", why="is 0: a batch has at least one piece")
    if isinstance(count, int) and isinstance(rejects, int) and rejects > count:
        yield RowProblem(column="rejects", why=f"is more than the {count} pieces of the batch")


FINISHING = LogKind(
    name="finishing",
    title="Finishing log",
    columns=(
        Column(name="date", meaning="day of the batch", kind="date", needed=True),
        Column(
            name="mold",
            meaning="what was coated",
            kind="name",
            needed=True,
            refers_to="mold",
            also=("mould",),
        ),
        Column(name="cavity", meaning="what was coated", kind="name", needed=True, refers_to="cavity"),
        Column(
            name="coat",
            meaning="the coating item",
            kind="name",
            needed=True,
            refers_to="item",
            also=("powder", "coating", "paint"),
        ),
        Column(
            name="count",
            meaning="pieces",
            kind="count",
            needed=True,
            also=("qty", "quantity", "number", "pieces"),
        ),
        Column(
            name="part_temp",
            meaning="temperature of the piece when dipped",
            kind="temperature",
            also=("part temperature", "dip temp"),
        ),
        Column(
            name="cure_temp",
            meaning="oven set temperature",
            kind="temperature",
            also=("oven temp", "cure temperature"),
        ),
        Column(
            name="cure_time",
            meaning="time at temperature",
            kind="duration",
            bare_unit="min",
            also=("oven time",),
        ),
        Column(
            name="rejects", meaning="pieces to strip or scrap", kind="count", default=0, also=("rejected",)
        ),
        Column(
            name="flaw", meaning="what is wrong with the rejects", kind="word", words=FLAWS, also=("defect",)
        ),
        Column(name="note", meaning="free text", kind="text", also=("notes", "remark", "remarks")),
    ),
    known_by=("date", "mold", "cavity", "coat"),
    check=check_row,
    also_called=("coat", "coated", "coating", "paint", "painted", "powder", "finish", "finishing", "cure"),
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The finishing log."""
    words = Path(__file__).with_suffix(".toml")
    return [with_everyday_words(FINISHING, words)]
