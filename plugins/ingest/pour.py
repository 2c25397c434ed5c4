"""The pour log: one row per cavity, outcome and filling of a mold.

    date,mold,cavity,outcome,count,fill,mold_temp,melt_temp,mass,flaw,material,session,note
    2026-04-04,round-jig,1/8,good,2,6,310 F,710 F,7.1 g,,,,
    2026-04-04,round-jig,1/8,reject,1,3,245 F,,,short fill,,,mold still cold

Metal heads and plastic trailers share it: the mold says which material it takes.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path

from benchwater.plugin import Bench, Column, LogKind, RowProblem, SideBySide, hookimpl, with_everyday_words

FLAWS = ("short fill", "flash", "cold shut", "porosity", "misset insert", "other")
HOTTEST_MOLD_C = 550.0
HOTTEST_MELT_C = 800.0


def check_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """What one row must satisfy beyond its cells.

    The mold's limit is below the melting range of its aluminium (582 to 652 degC for alloy 6061, UNS
    A96061 data sheets); the melt's is above any alloy cast in such a mold.
    """
    if row["count"] == 0:
        yield RowProblem(column="count", why="is 0: a row stands for at least one casting")
    for column, hottest, can in (
        ("mold_temp", HOTTEST_MOLD_C, "a mold can be"),
        ("melt_temp", HOTTEST_MELT_C, "this bench can melt"),
    ):
        read = row[f"{column}_c"]
        if isinstance(read, float) and read > hottest:
            above = bench.show(hottest, "degC")
            yield RowProblem(column=column, why=f"is hotter than {can} (above {above})")
    if row["flaw"] is not None and row["outcome"] == "blank":
        yield RowProblem(column="flaw", why="stands on a `blank` fill, which makes no casting to have a flaw")
    material = row["material"]
    if isinstance(material, str) and bench.items[material].kind not in {"metal", "plastic"}:
        kind = bench.items[material].kind
        yield RowProblem(column="material", why=f"is kept as {kind}, and only metal or plastic is poured")


POUR = LogKind(
    name="pour",
    title="Pour log",
    columns=(
        Column(name="date", meaning="day, or day and time, of the session", kind="date", needed=True),
        Column(
            name="mold",
            meaning="a mold in bench.toml",
            kind="name",
            needed=True,
            refers_to="mold",
            also=("mould",),
        ),
        Column(name="cavity", meaning="a cavity of that mold", kind="name", needed=True, refers_to="cavity"),
        Column(
            name="outcome",
            meaning="good, reject, or blank (a warm-up fill without inserts, returned to the pot)",
            kind="word",
            needed=True,
            words=("good", "reject", "blank"),
            told_by=(("reject", ("flaw", *FLAWS[:-1])),),
            also=("result",),
        ),
        Column(
            name="count",
            meaning="castings this row stands for",
            kind="count",
            default=1,
            also=("qty", "quantity", "number", "pieces"),
        ),
        Column(
            name="fill",
            meaning="n-th filling of the mold in that session, warm-up fills counted",
            kind="count",
            most=2_000,
            also=("fill no", "fill number"),
        ),
        Column(
            name="mold_temp",
            meaning="mold temperature just before this fill",
            kind="temperature",
            also=("mould temp", "mold temperature", "mould temperature"),
        ),
        Column(
            name="melt_temp",
            meaning="melt temperature",
            kind="temperature",
            also=("pot temp", "melt temperature", "pot temperature"),
        ),
        Column(
            name="mass",
            meaning="weighed mass of all castings of the row together, trimmed; what was poured only",
            kind="mass",
            exact=True,
            also=("weight", "total mass"),
        ),
        Column(name="flaw", meaning="on rejects: what is wrong", kind="word", words=FLAWS, also=("defect",)),
        Column(
            name="material",
            meaning="what was poured, if not the mold's usual material",
            kind="name",
            refers_to="item",
            also=("alloy",),
        ),
        Column(name="session", meaning="tells two sessions of one day apart", kind="name"),
        Column(name="note", meaning="free text", kind="text", also=("notes", "remark", "remarks")),
        Column(
            name="photo",
            meaning="file of a picture in the folder",
            kind="photo",
            also=("picture",),
            on_sheets=False,
        ),
        Column(name="trial", meaning="the trial that this row is of", kind="name", on_sheets=False),
        Column(name="block", meaning="block of the trial sheet", kind="count", on_sheets=False),
        Column(name="slot", meaning="line of the block", kind="count", on_sheets=False),
        Column(name="arm", meaning="what the lot said", kind="name", on_sheets=False),
    ),
    check=check_row,
    side_by_side=SideBySide(word="outcome", number="count", only=(("flaw", ("reject",)),), of_all=("mass",)),
    also_called=("pour", "poured", "pouring", "cast", "casting", "molding"),
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The pour log."""
    words = Path(__file__).with_suffix(".toml")
    return [with_everyday_words(POUR, words)]
