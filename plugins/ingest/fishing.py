"""The fishing logs: one row per bait and stretch of fishing, and one row per fish.

date,build,fished,fate,count,bait,cause,water,angler,trip,habitat,leader,casts,note
2026-05-09,perch-grub,2:15,lost,1,,bite off,Mill Reach,Ansa,1,weeds;shallow,no,,

date,species,build,count,length,mass,bait,water,angler,trip,habitat,released,note
2026-05-09,yellow perch,perch-grub,1,9 1/2 in,,,Mill Reach,Ansa,1,weeds,yes,
"""

from collections.abc import Iterable, Mapping
from pathlib import Path

from benchwater.ledger.labels import unprinted_tag
from benchwater.plugin import Bench, Column, LogKind, RowProblem, SideBySide, hookimpl, with_everyday_words

CAUSES = ("bite off", "snag", "break off", "torn", "bent hook", "chipped", "other")
LONGEST_DAY_H = 24.0
SHARED_NAMES = (
    "perch", "bass", "crappie", "pickerel", "sunfish", "bream", "catfish", "bullhead", "trout", "carp",
    "salmon", "char", "eel", "roach", "chub", "gar", "drum", "sucker",
)  # fmt: skip
"""Names that several fishes share: columns may be headed by them, and they stay as written."""


def check_bait_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """A bait that was kept has no cause, and a tag belongs to one bait."""
    fate, cause, count = row["fate"], row["cause"], row["count"]
    if fate not in {"lost", "worn"} and cause is not None:
        yield RowProblem(column="cause", why=f"is given for a bait that was `{fate}`: was it lost or worn?")
    if row["price"] is not None and fate != "sold":
        yield RowProblem(column="price", why=f"stands on a bait that was `{fate}`: was it sold?")
    if count == 0:
        yield RowProblem(column="count", why="is 0: a row stands for at least one bait")
    if row["bait"] is not None and isinstance(count, int) and count > 1:
        yield RowProblem(column="count", why=f"is {count}, and a tag in `bait` belongs to one bait")
    yield from _check_tag(row["bait"], bench)
    fished = row["fished_h"]
    if isinstance(fished, float) and fished > LONGEST_DAY_H:
        why = f"is {fished:g} h, longer than a day (accepted: up to 24 h, such as `1:30`, `90 min`)"
        yield RowProblem(column="fished", why=why)


def check_fish_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """A row stands for at least one fish."""
    if row["count"] == 0:
        yield RowProblem(column="count", why="is 0: a row stands for at least one fish")
    yield from _check_tag(row["bait"], bench)


def _check_tag(tag: object, bench: Bench) -> Iterable[RowProblem]:
    """A tag that looks like a printed one is one of those."""
    if not bench.printed_tags or not isinstance(tag, str):
        return
    near = unprinted_tag(tag, bench.printed_tags)
    if near is not None:
        hint = " or ".join(f"`{tag}`" for tag in near[:3])
        printed = f"`[tags] printed = {bench.printed_tags}`"
        yield RowProblem(
            column="bait",
            why=f"is none of the printed tags ({printed})" + (f": is it {hint}?" if hint else ""),
        )


DATE = Column(name="date", meaning="day of the trip", kind="date", needed=True)
BUILD = Column(
    name="build", meaning="a finished bait in bench.toml", kind="name", needed=True, refers_to="build"
)
PHOTO = Column(
    name="photo",
    meaning="file of a picture in the folder",
    kind="photo",
    also=("picture",),
    on_sheets=False,
)
TRIAL = (
    Column(name="trial", meaning="the trial that this row is of", kind="name", on_sheets=False),
    Column(name="block", meaning="block of the trial sheet", kind="count", on_sheets=False),
    Column(name="slot", meaning="line of the block", kind="count", on_sheets=False),
    Column(name="arm", meaning="what the lot said", kind="name", on_sheets=False),
)
NOTE = Column(name="note", meaning="free text", kind="text", also=("notes", "remark", "remarks"))
SHARED_COLUMNS = (
    Column(name="bait", meaning="tag of this very bait", kind="name", also=("bait tag", "tag")),
    Column(name="water", meaning="where", kind="name", also=("lake", "river", "place")),
    Column(name="angler", meaning="who", kind="name", also=("who",)),
    Column(name="trip", meaning="tells two trips of one day apart", kind="name"),
    Column(name="habitat", meaning="tags separated by ;", kind="tags", also=("cover",)),
)

FISHING = LogKind(
    name="fishing",
    title="Fishing log: baits",
    columns=(
        DATE,
        BUILD,
        Column(
            name="fished",
            meaning="how long it was in use",
            kind="duration",
            needed=True,
            also=("time fished", "hours", "in use"),
            zero_beside=(("fate", ("given", "sold")),),
        ),
        Column(
            name="fate",
            meaning="kept (still usable), lost, worn (back home but beyond use), given (away) or sold",
            kind="word",
            needed=True,
            words=("kept", "lost", "worn", "given", "sold"),
            told_by=(("lost", ("cause", "bite off", "snag", "break off")),),
        ),
        Column(
            name="count",
            meaning="identical baits this row stands for, each fished that long",
            kind="count",
            default=1,
            also=("qty", "quantity", "number"),
        ),
        Column(name="cause", meaning="why it was lost or worn", kind="word", words=CAUSES),
        *SHARED_COLUMNS,
        Column(name="leader", meaning="yes, no, or its material", kind="yes_no", words=("*",)),
        Column(name="casts", meaning="casts made", kind="count"),
        Column(name="price", meaning="what was paid for baits sold", kind="money"),
        NOTE,
        PHOTO,
        *TRIAL,
    ),
    check=check_bait_row,
    side_by_side=SideBySide(word="fate", number="count", only=(("cause", ("lost", "worn")),)),
    also_called=("bait", "lure", "fishing", "fished", "trip", "water"),
)

CATCH = LogKind(
    name="catch",
    title="Fishing log: fish",
    columns=(
        DATE,
        Column(name="species", meaning="what fish", kind="name", needed=True, also=("fish",)),
        BUILD,
        Column(
            name="count",
            meaning="fish this row stands for, alike",
            kind="count",
            default=1,
            also=("qty", "quantity", "number"),
        ),
        Column(name="length", meaning="total length", kind="length", also=("total length",)),
        Column(name="mass", meaning="mass of one fish", kind="mass", also=("weight",)),
        *SHARED_COLUMNS,
        Column(name="released", meaning="yes or no", kind="yes_no"),
        NOTE,
        PHOTO,
    ),
    check=check_fish_row,
    side_by_side=SideBySide(
        word="species", number="count", headings=tuple((name, (name, f"{name}s")) for name in SHARED_NAMES)
    ),
    also_called=("catch", "caught", "fish"),
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """Both shapes of the fishing log."""
    words = Path(__file__).with_suffix(".toml")
    return [with_everyday_words(FISHING, words), with_everyday_words(CATCH, words)]
