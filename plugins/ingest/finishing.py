"""The finishing log: one row per batch coated and cured.

date,mold,cavity,coat,count,part_temp,cure_temp,cure_time,rejects,flaw,note
2026-04-05,round-jig,1/8,chartreuse,24,330 F,350 F,20 min,1,bare spot,
"""

from collections.abc import Iterable, Mapping

from benchwater.plugin import Bench, Column, LogKind, RowProblem, hookimpl, phrases

FLAWS = ("bare spot", "sag", "blocked guard hole", "soft coat", "other")


FLAW_PHRASES = (
    (
        "bare spot",
        phrases(
            "missed spot, bare, thin spot, not covered, missed, uncovered, bald spot, bare patch, "
            "bare spots, skip, skips, patchy, gap, gaps, bare metal, metal showing, lead showing, "
            "did not cover, didnt cover, spot missed, missing paint, incomplete coat"
        ),
    ),
    (
        "sag",
        phrases(
            "drip, drips, dripped, dripping, runs, run, sagging, sagged, droop, ran, teardrop, "
            "tear drop, lump, lumps, lumpy, blob, blobs, ran down, drop, drops, bulge, pooled, "
            "puddle"
        ),
    ),
    (
        "blocked guard hole",
        phrases(
            "hole blocked, hole filled, plugged hole, hole plugged, blocked hole, guard hole "
            "plugged, guard hole blocked, guard hole filled, plugged guard hole, clogged hole, "
            "hole clogged, filled hole, guard hole clogged, guard hole, guard hole closed, weed "
            "guard hole, weedguard hole plugged"
        ),
    ),
    (
        "soft coat",
        phrases(
            "soft, sticky, tacky, not cured, undercured, under cured, uncured, rubs off, gummy, "
            "did not cure, didnt cure, peels, peeling, not hard, still soft, scratches off, soft "
            "paint, not baked, under baked"
        ),
    ),
    ("other", phrases("else, something else, misc, miscellaneous, various, another")),
)


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
        Column(
            name="date",
            meaning="day of the batch",
            kind="date",
            needed=True,
            everyday=phrases(
                "day, when, dated, date coated, coated on, paint date, painted on, date painted, powder "
                "date, dat, dte, evening, cured on, date cured"
            ),
        ),
        Column(
            name="mold",
            meaning="what was coated",
            kind="name",
            needed=True,
            refers_to="mold",
            also=("mould",),
            everyday=phrases(
                "mold name, which mold, mold used, die, mld, molde, jig mold, from mold, head mold, head "
                "type, jig type"
            ),
        ),
        Column(
            name="cavity",
            meaning="what was coated",
            kind="name",
            needed=True,
            refers_to="cavity",
            everyday=phrases(
                "size, head size, jig size, cav, cavaty, cavty, head, jig head, jighead, what, part, "
                "style, model, shape, cavity size, which cavity"
            ),
        ),
        Column(
            name="coat",
            meaning="the coating item",
            kind="name",
            needed=True,
            refers_to="item",
            also=("powder", "coating", "paint"),
            everyday=phrases(
                "color, paint color, powder color, powder paint, color used, coating used, finish, coat "
                "color, coating color, paint used, colr, coler, coting, caot, shade, lacquer, varnish, "
                "vinyl paint, powdercoat, powder coat, top coat, topcoat, enamel"
            ),
        ),
        Column(
            name="count",
            meaning="pieces",
            kind="count",
            needed=True,
            also=("qty", "quantity", "number", "pieces"),
            everyday=phrases(
                "how many, howmany, pcs, pc, qnty, quanity, quantiy, amt, amount, cnt, coated, number "
                "coated, painted, number painted, how many coated, how many painted, batch size, num, "
                "coutn, cout, number of pieces, no of pieces, tally"
            ),
        ),
        Column(
            name="part_temp",
            meaning="temperature of the piece when dipped",
            kind="temperature",
            also=("part temperature", "dip temp"),
            everyday=phrases(
                "piece temp, piece temperature, head temp, head temperature, jig temp, jig temperature, "
                "dipping temp, dip temperature, preheat, preheat temp, temp when dipped, temperature when "
                "dipped, heated to, part temprature, part tmp, temp of part, dipped at, temp, temperature, "
                "tmp, temprature, deg, degrees, how hot"
            ),
        ),
        Column(
            name="cure_temp",
            meaning="oven set temperature",
            kind="temperature",
            also=("oven temp", "cure temperature"),
            everyday=phrases(
                "oven temperature, bake temp, bake temperature, baking temp, baking temperature, baked "
                "at, cured at, oven, oven set, oven set to, oven setting, curing temp, curing "
                "temperature, cure heat, cure temprature, cure tmp, toaster oven temp, oven f [F], oven c "
                "[C], oven tmp, temp of oven, temp, temperature, tmp, "
                "temprature, deg, degrees, how hot"
            ),
        ),
        Column(
            name="cure_time",
            meaning="time at temperature",
            kind="duration",
            bare_unit="min",
            also=("oven time",),
            everyday=phrases(
                "bake time, baking time, baked for, cured for, time in oven, minutes [min], mins [min], "
                "oven minutes [min], cure minutes [min], bake minutes [min], curing time, how long in "
                "oven, how long baked, how long cured, time baked, time cured, min [min], cure mins "
                "[min], oven mins [min]"
            ),
        ),
        Column(
            name="rejects",
            meaning="pieces to strip or scrap",
            kind="count",
            default=0,
            also=("rejected",),
            everyday=phrases(
                "bad, bad ones, reject, how many bad, number bad, no good, failed, fails, failures, redo, "
                "redos, to strip, stripped, scrap, scrapped, spoiled, ruined, rejcts, rejets, number "
                "rejected, how many rejected, not good, ng, culls, seconds"
            ),
        ),
        Column(
            name="flaw",
            meaning="what is wrong with the rejects",
            kind="word",
            words=FLAWS,
            also=("defect",),
            word_phrases=FLAW_PHRASES,
            everyday=phrases(
                "fault, problem, what was wrong, what is wrong, whats wrong, wrong, defect type, why bad, "
                "reason, reject reason, reason for reject, why rejected, issue, trouble, kind of flaw, "
                "flaw type, flw, deffect, defct, blemish, imperfection, what went wrong"
            ),
        ),
        Column(
            name="note",
            meaning="free text",
            kind="text",
            also=("notes", "remark", "remarks"),
            everyday=phrases(
                "comment, comments, memo, details, observation, observations, what else, other notes, "
                "nots, misc, extra, extra notes"
            ),
        ),
    ),
    known_by=("date", "mold", "cavity", "coat"),
    check=check_row,
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The finishing log."""
    return [FINISHING]
