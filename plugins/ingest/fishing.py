"""The fishing logs: one row per bait and stretch of fishing, and one row per fish.

date,build,fished,fate,count,bait,cause,water,angler,trip,habitat,leader,casts,note
2026-05-09,perch-grub,2:15,lost,1,,bite off,Mill Reach,Ansa,1,weeds;shallow,no,,

date,species,build,count,length,mass,bait,water,angler,trip,habitat,released,note
2026-05-09,yellow perch,perch-grub,1,9 1/2 in,,,Mill Reach,Ansa,1,weeds,yes,
"""

from collections.abc import Iterable, Mapping

from benchwater.plugin import Bench, Column, LogKind, RowProblem, hookimpl, phrases

CAUSES = ("bite off", "snag", "break off", "torn", "bent hook", "chipped", "other")
LONGEST_DAY_H = 24.0


FATE_PHRASES = (
    (
        "kept",
        phrases(
            "still good, keep, still have, still have it, came home, home, ok, okay, fine, good, "
            "still ok, still fine, survived, still fishing, came back, brought home, in the box, "
            "back in the box, back in box, alive, usable, still usable, still going, have it, got "
            "it back, intact, not lost, kpt, undamaged, safe, no damage"
        ),
    ),
    (
        "lost",
        phrases(
            "gone, lose, lost it, missing, disappeared, broke off, broken off, bit off, bitten "
            "off, never came back, not coming back, left in the lake, left in lake, in the lake, "
            "donated to lake, lsot, los, lots to snag, did not come back, didnt come back, on the "
            "bottom"
        ),
    ),
    (
        "worn",
        phrases(
            "worn out, worn down, wore out, used up, done, done for, beyond use, ruined, "
            "destroyed, retired, chewed up, wrecked, beat up, beaten up, shot, trashed, dead, no "
            "longer usable, not usable, wron"
        ),
    ),
)
CAUSE_PHRASES = (
    (
        "bite off",
        phrases(
            "bitten, bit off, bitten off, bite, bit, toothy, toothy fish, toothy critter, teeth, "
            "bit through, bit through line, bitten through, biteoff, bites off, fish bit it off, "
            "fish bit line, cut by teeth, sharp teeth, bit the line, bitoff, chomped off"
        ),
    ),
    (
        "snag",
        phrases(
            "rocks, rock, hung up, hungup, hang up, hung, hung on rock, stuck, wood, log, logs, "
            "stump, stumps, tree, trees, branch, branches, brush, bottom, snagged, snagged up, "
            "snags, caught on bottom, caught up, timber, stuck on bottom, weeds, weed, in the "
            "weeds, stuck in weeds, stuck in rocks, stone, stones, boulder, roots, root, dock, "
            "hung up on bottom, hung bottom, wreck, cable, bush, snaged, snaq, hang, fouled, "
            "lodged, laydown, mussels, oyster bed"
        ),
    ),
    (
        "break off",
        phrases(
            "broke off, line broke, snapped, snapped off, line snapped, broken off, knot, knot "
            "failed, knot slipped, knot broke, knot came undone, line parted, breakoff, broke "
            "line, broke the line, bad knot, line break, popped off, snapped on cast, broke on "
            "cast, cracked off, broken line, line failed, frayed line, brake off"
        ),
    ),
    (
        "torn",
        phrases(
            "ripped, rip, tore, tear, tail torn, torn tail, tail ripped, ripped tail, tail gone, "
            "tail came off, tail off, chewed, chewed up, shredded, split, ripped up, torn up, "
            "tore up, tattered, ripped off, torn off, tail bitten, plastic torn, torn plastic, "
            "body torn, pulled apart"
        ),
    ),
    (
        "bent hook",
        phrases(
            "hook bent, straightened, hook straightened, straightened hook, hook opened, opened "
            "hook, opened up, hook opened up, bent, bent out, hook bent out, straightened out, "
            "hook straight, bend hook, bent the hook"
        ),
    ),
    (
        "chipped",
        phrases(
            "paint chipped, chip, chips, chipping, paint off, paint gone, paint worn, paint worn "
            "off, flaked, flaking, paint flaked, paint flaking, paint chips, peeled, peeling, "
            "paint peeled, paint came off, lost paint, scratched, coat chipped, powder chipped, "
            "chiped, worn paint"
        ),
    ),
    ("other", phrases("else, something else, misc, miscellaneous, various, another")),
)


def check_bait_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """A bait that was kept has no cause, and a tag belongs to one bait."""
    fate, cause, count = row["fate"], row["cause"], row["count"]
    if fate == "kept" and cause is not None:
        yield RowProblem(column="cause", why="is given for a bait that was `kept`: was it lost or worn?")
    if count == 0:
        yield RowProblem(column="count", why="is 0: a row stands for at least one bait")
    if row["bait"] is not None and isinstance(count, int) and count > 1:
        yield RowProblem(column="count", why=f"is {count}, and a tag in `bait` belongs to one bait")
    fished = row["fished_h"]
    if isinstance(fished, float) and fished > LONGEST_DAY_H:
        why = f"is {fished:g} h, longer than a day (accepted: up to 24 h, such as `1:30`, `90 min`)"
        yield RowProblem(column="fished", why=why)


def check_fish_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """A row stands for at least one fish."""
    if row["count"] == 0:
        yield RowProblem(column="count", why="is 0: a row stands for at least one fish")


DATE = Column(
    name="date",
    meaning="day of the trip",
    kind="date",
    needed=True,
    everyday=phrases(
        "day, when, dated, trip date, date of trip, date fished, fished on, outing, day fished, "
        "dat, dte, day out"
    ),
)
BUILD = Column(
    name="build",
    meaning="a finished bait in bench.toml",
    kind="name",
    needed=True,
    refers_to="build",
    everyday=phrases(
        "lure, lure name, which lure, lure used, jig, which jig, jig used, bait name, bait used, "
        "which bait, bait type, pattern, model, buidl, biuld, bulid, rig, tied on, what i threw, "
        "threw, fished with, lur, lrue, finished bait, jig name"
    ),
)
NOTE = Column(
    name="note",
    meaning="free text",
    kind="text",
    also=("notes", "remark", "remarks"),
    everyday=phrases(
        "comment, comments, memo, details, observation, observations, what else, other notes, "
        "nots, misc, extra, extra notes"
    ),
)
SHARED_COLUMNS = (
    Column(
        name="bait",
        meaning="tag of this very bait",
        kind="name",
        also=("bait tag", "tag"),
        everyday=phrases(
            "bait no, bait number, bait id, lure tag, lure id, lure no, lure number, tag no, tag "
            "number, serial, serial no, serial number, which one, id, my tag, tag on it"
        ),
    ),
    Column(
        name="water",
        meaning="where",
        kind="name",
        also=("lake", "river", "place"),
        everyday=phrases(
            "body of water, waters, where, where fished, spot, location, pond, creek, stream, venue, "
            "reservoir, fishery, bay, canal, loch, lough, water body, where i fished, lake name, lake "
            "or river, watr, wtaer, site"
        ),
    ),
    Column(
        name="angler",
        meaning="who",
        kind="name",
        also=("who",),
        everyday=phrases(
            "fisherman, fisher, person, name, who fished, by, fished by, rod, anglr, anglar, caught "
            "by, whose, fisherman name, angler name"
        ),
    ),
    Column(
        name="trip",
        meaning="tells two trips of one day apart",
        kind="name",
        everyday=phrases("trip no, trip number, trip name, outing no, trip id, session, # trip"),
    ),
    Column(
        name="habitat",
        meaning="tags separated by ;",
        kind="tags",
        also=("cover",),
        everyday=phrases(
            "structure, bottom, type of water, kind of water, weed or rock, habitats, where in the "
            "water, surroundings, habitate, habitat type, ground, vegetation, terrain, fished in, "
            "fished around"
        ),
    ),
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
            everyday=phrases(
                "hours fished, fished hours, hrs fished, hour, hrs [h], hr [h], h [h], how long, how long "
                "fished, time in use, time used, time on water, time in water, hours in use, hours used, "
                "hours on water, hours in water, in water, duration, fishing time, length of time, time "
                "out, minutes [min], mins [min], minutes fished [min], mins fished [min], min [min], "
                "fishd, fised, fihsed, used for, fished for, water time, wet time, how long used, how "
                "long in the water"
            ),
        ),
        Column(
            name="fate",
            meaning="kept (still usable), lost, or worn (back home but beyond use)",
            kind="word",
            needed=True,
            words=("kept", "lost", "worn"),
            word_phrases=FATE_PHRASES,
            everyday=phrases(
                "what happened, what happened to it, what became of it, how it ended, ended, end, ending, "
                "outcome, result, status, came home, still have it, came back, kept or lost, lost or "
                "kept, lost kept, state, condition, condition after, after, afterwards, fat, fte, "
                "happened, state after, survived"
            ),
        ),
        Column(
            name="count",
            meaning="identical baits this row stands for, each fished that long",
            kind="count",
            default=1,
            also=("qty", "quantity", "number"),
            everyday=phrases(
                "how many, howmany, number, pcs, pc, pieces, amount, amt, cnt, coutn, cout, number of "
                "baits, no of baits, how many baits, number of lures, how many lures, num, qnty, quanity, "
                "quantiy, tally"
            ),
        ),
        Column(
            name="cause",
            meaning="why it was lost or worn",
            kind="word",
            words=CAUSES,
            word_phrases=CAUSE_PHRASES,
            everyday=phrases(
                "why, how lost, how it was lost, lost to, lost how, reason, reason lost, why lost, what "
                "got it, cause of loss, how it went, how, taken by, what took it, loss reason, killed by, "
                "casue, cuase, cause of end, how broken, what broke it"
            ),
        ),
        *SHARED_COLUMNS,
        Column(
            name="leader",
            meaning="yes, no, or its material",
            kind="yes_no",
            words=("*",),
            everyday=phrases(
                "leader used, wire, trace, wire leader, with leader, leader type, leader material, leadr, "
                "leder, wire trace, bite leader, on leader, shock leader"
            ),
        ),
        Column(
            name="casts",
            meaning="casts made",
            kind="count",
            everyday=phrases(
                "number of casts, how many casts, no of casts, casts made, cast count, # casts, throws, "
                "cast number"
            ),
        ),
        NOTE,
    ),
    check=check_bait_row,
)

CATCH = LogKind(
    name="catch",
    title="Fishing log: fish",
    columns=(
        DATE,
        Column(
            name="species",
            meaning="what fish",
            kind="name",
            needed=True,
            also=("fish",),
            everyday=phrases(
                "catch, fish species, kind of fish, type of fish, fish type, what fish, fish kind, which "
                "fish, caught, what i caught, what was caught, what bit, spcies, speces, specie, speceis, "
                "specis, fish caught"
            ),
        ),
        BUILD,
        Column(
            name="count",
            meaning="fish this row stands for, alike",
            kind="count",
            default=1,
            also=("qty", "quantity", "number"),
            everyday=phrases(
                "caught, how many, howmany, number of fish, how many fish, no of fish, fish count, number "
                "caught, how many caught, pcs, pieces, amount, amt, cnt, coutn, cout, num, tally, catch, "
                "qnty, quanity, quantiy"
            ),
        ),
        Column(
            name="length",
            meaning="total length",
            kind="length",
            also=("total length",),
            everyday=phrases(
                "len, lenght, lengh, legnth, lgth, how long, size, fish length, long, inches [in], inch "
                "[in], in [in], cm [cm], centimeters [cm], centimetres [cm], mm [mm], tl, measured, fish "
                "size, measures, overall length"
            ),
        ),
        Column(
            name="mass",
            meaning="mass of one fish",
            kind="mass",
            also=("weight",),
            everyday=phrases(
                "amount, amt, wt, wgt, weigth, wieght, weght, how heavy, weighed, fish weight, pounds "
                "[lb], lbs [lb], lb [lb], oz [oz], ounces [oz], grams [g], g [g], kg [kg], kilos [kg], "
                "heavy, weighs, body weight"
            ),
        ),
        *SHARED_COLUMNS,
        Column(
            name="released",
            meaning="yes or no",
            kind="yes_no",
            everyday=phrases(
                "let go, put back, returned, release, back in the water, let it go, catch and release, "
                "went back, relesed, realeased, released alive, threw back, set free, cpr, c&r"
            ),
        ),
        NOTE,
    ),
    check=check_fish_row,
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """Both shapes of the fishing log."""
    return [FISHING, CATCH]
