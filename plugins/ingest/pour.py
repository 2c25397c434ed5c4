"""The pour log: one row per cavity, outcome and filling of a mold.

    date,mold,cavity,outcome,count,fill,mold_temp,melt_temp,mass,flaw,material,session,note
    2026-04-04,round-jig,1/8,good,2,6,310 F,710 F,7.1 g,,,,
    2026-04-04,round-jig,1/8,reject,1,3,245 F,,,short fill,,,mold still cold

Metal heads and plastic trailers share it: the mold says which material it takes.
"""

from collections.abc import Iterable, Mapping

from benchwater.plugin import Bench, Column, LogKind, RowProblem, hookimpl, phrases

FLAWS = ("short fill", "flash", "cold shut", "porosity", "misset insert", "other")
HOTTEST_MOLD_C = 550.0
HOTTEST_MELT_C = 800.0


OUTCOME_PHRASES = (
    (
        "good",
        phrases(
            "ok, okay, fine, perfect, great, nice, keeper, usable, clean, pass, passed, g, gd, "
            "goods, sound, all good, good one, excellent, came out fine, came out good, came out "
            "well, not bad, acceptable, goood, alright, all right"
        ),
    ),
    (
        "reject",
        phrases(
            "bad, no good, not good, ng, n g, rejected, rejects, scrap, scrapped, cull, culled, "
            "fail, failed, failure, defective, defect, dud, junk, spoiled, spoilt, ruined, poor, "
            "unusable, faulty, flawed, miscast, bad one, remelt, rej, rejct, rejet, trash, "
            "garbage, not ok, not usable, came out bad, discard, crap, waster, botched, messed up"
        ),
    ),
    (
        "blank",
        phrases(
            "warm up, warmup, warming, warming up, warm up fill, warm up pour, preheat, pre heat, "
            "heat up, heating, heating up, to warm, empty, no insert, no inserts, without hook, "
            "without hooks, without insert, dry run, warmer, warmups, to heat mold, blanks, blnk, "
            "warming mold, warm mold, mold warming, mold warm up"
        ),
    ),
)
FLAW_PHRASES = (
    (
        "short fill",
        phrases(
            "short, shorts, did not fill, didnt fill, did not fill out, didnt fill out, did not "
            "fill up, not full, incomplete, not filled, unfilled, short shot, partial, partial "
            "fill, half filled, half full, under filled, underfilled, misrun, no fill, short "
            "pour, not enough lead, not complete, part filled, shortfill, not filled out, missing "
            "tip, incomplete fill, shrt fill"
        ),
    ),
    (
        "flash",
        phrases(
            "flashing, flashed, fins, fin, burr, burrs, excess, squeezed out, leaked out, mold "
            "not closed, overflow, thin edge, flsh"
        ),
    ),
    (
        "cold shut",
        phrases(
            "wrinkled, wrinkle, wrinkly, wrinkling, rinkled, lap, laps, cold lap, creased, "
            "crease, flow lines, flow marks, cold lines, cold mark, folds, fold, cold shot, "
            "coldshut, ripples, rippled, cold wrinkle, lines in it"
        ),
    ),
    (
        "porosity",
        phrases(
            "bubbles, bubble, bubbly, pits, pitted, pit, porous, void, voids, air, air bubbles, "
            "air pocket, air pockets, pinholes, pin holes, gas, blow hole, blowholes, air holes, "
            "holes, spongy, gas holes, porosty, bubles"
        ),
    ),
    (
        "misset insert",
        phrases(
            "hook crooked, crooked hook, crooked, hook misset, misset hook, hook off center, hook "
            "off centre, hook out of place, hook not seated, hook shifted, hook moved, hook "
            "slipped, misplaced hook, hook misplaced, insert crooked, crooked insert, hook "
            "tilted, hook twisted, eye crooked, hook off, hook not straight, hook in wrong, hook "
            "set wrong, bad hook placement, misset, hook sideways, hook fell out"
        ),
    ),
    ("other", phrases("else, something else, misc, miscellaneous, various, unknown flaw, another")),
)


def check_row(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """What one row must satisfy beyond its cells.

    The mold's limit is below the melting range of its aluminium (582 to 652 degC for alloy 6061, UNS
    A96061 data sheets); the melt's is above any alloy cast in such a mold.
    """
    if row["count"] == 0:
        yield RowProblem(column="count", why="is 0: a row stands for at least one casting")
    if _above(row["mold_temp_c"], HOTTEST_MOLD_C):
        hottest = bench.show(HOTTEST_MOLD_C, "degC")
        yield RowProblem(column="mold_temp", why=f"is hotter than a mold can be (above {hottest})")
    if _above(row["melt_temp_c"], HOTTEST_MELT_C):
        hottest = bench.show(HOTTEST_MELT_C, "degC")
        yield RowProblem(column="melt_temp", why=f"is hotter than this bench can melt (above {hottest})")
    if row["flaw"] is not None and row["outcome"] == "blank":
        yield RowProblem(column="flaw", why="stands on a `blank` fill, which makes no casting to have a flaw")
    material = row["material"]
    if isinstance(material, str) and bench.items[material].kind not in {"metal", "plastic"}:
        kind = bench.items[material].kind
        yield RowProblem(column="material", why=f"is kept as {kind}, and only metal or plastic is poured")


def _above(value: object, limit: float) -> bool:
    return isinstance(value, float) and value > limit


POUR = LogKind(
    name="pour",
    title="Pour log",
    columns=(
        Column(
            name="date",
            meaning="day, or day and time, of the session",
            kind="date",
            needed=True,
            everyday=phrases(
                "day, when, dated, session date, pour date, poured, poured on, date poured, casting date, "
                "cast date, cast on, day poured, evening, dat, dte, dats"
            ),
        ),
        Column(
            name="mold",
            meaning="a mold in bench.toml",
            kind="name",
            needed=True,
            refers_to="mold",
            also=("mould",),
            everyday=phrases(
                "mold name, mold used, which mold, die, cavity block, mold type, form, mld, moold, molde, "
                "casting mold, tool"
            ),
        ),
        Column(
            name="cavity",
            meaning="a cavity of that mold",
            kind="name",
            needed=True,
            refers_to="cavity",
            everyday=phrases(
                "size, cavity size, head size, jig size, cav, cavaty, cavty, cavitiy, cavity no, cavity "
                "number, which cavity, hole, slot, head, jig head, jighead, model, style, shape, bait "
                "size, weight size, pattern, impression"
            ),
        ),
        Column(
            name="outcome",
            meaning="good, reject, or blank (a warm-up fill without inserts, returned to the pot)",
            kind="word",
            needed=True,
            words=("good", "reject", "blank"),
            also=("result",),
            word_phrases=OUTCOME_PHRASES,
            everyday=phrases(
                "how it came out, came out, how did it come out, how it turned out, turned out, good or "
                "bad, good bad, ok, status, verdict, quality, grade, result of pour, results, pass fail, "
                "pass or fail, outcom, outcone, out come, good or reject, good reject, condition, rating, "
                "how was it, judgement, judgment, inspection, qc"
            ),
        ),
        Column(
            name="count",
            meaning="castings this row stands for",
            kind="count",
            default=1,
            also=("qty", "quantity", "number", "pieces"),
            everyday=phrases(
                "how many, howmany, how much, amount, castings, cast count, number of castings, no of "
                "castings, number cast, number poured, pcs, pc, qnty, qnt, qtty, quantiy, quanity, "
                "quantitiy, amt, cnt, cout, coutn, conut, nos, each, ea, poured count, how many poured, "
                "how many cast, how many of them, tally, num, number made, made, # of castings, # made, # "
                "poured, count of castings, casts"
            ),
        ),
        Column(
            name="fill",
            meaning="n-th filling of the mold in that session, warm-up fills counted",
            kind="count",
            most=2_000,
            also=("fill no", "fill number"),
            everyday=phrases(
                "pour no, pour number, pour, fill count, shot, shot no, shot number, nth fill, cycle, "
                "cycle no, cycle number, filling, filling no, filling number, fill in session, # fill, "
                "fill #, pour #, round, turn, fil, fll, filll"
            ),
        ),
        Column(
            name="mold_temp",
            meaning="mold temperature just before this fill",
            kind="temperature",
            also=("mould temp", "mold temperature", "mould temperature"),
            everyday=phrases(
                "temp of mold, mold t, mold heat, mold tmp, mold temprature, mold temperatur, mold "
                "tempature, temperature of mold, mold deg, mold degrees, mold f [F], mold c [C], mold "
                "temp before fill, die temp, die temperature, how hot the mold was, mold hot, block temp, "
                "block temperature, moldtemp, temp, temperature, tmp, temprature, deg, degrees, how hot"
            ),
        ),
        Column(
            name="melt_temp",
            meaning="melt temperature",
            kind="temperature",
            also=("pot temp", "melt temperature", "pot temperature"),
            everyday=phrases(
                "temp of melt, lead temp, lead temperature, metal temp, metal temperature, alloy temp, "
                "alloy temperature, furnace temp, furnace temperature, plastic temp, plastic temperature, "
                "ladle temp, melt t, pot t, pot heat, pot tmp, melt tmp, melt temprature, pot temprature, "
                "temperature of pot, temp of pot, pot f [F], pot c [C], melter temp, crucible temp, how "
                "hot the pot was, melttemp, lead f [F], melt f [F], melt c [C], temp, temperature, tmp, "
                "temprature, deg, degrees, how hot"
            ),
        ),
        Column(
            name="mass",
            meaning="weighed mass of all castings of the row together, trimmed; what was poured only",
            kind="mass",
            also=("weight", "total mass"),
            everyday=phrases(
                "how much, amount, amt, total, weighed, weight of castings, total weight, weighs, weighed "
                "mass, wt, wgt, weigth, wieght, weght, trimmed weight, weight trimmed, all together "
                "weight, grams [g], g [g], gram [g], ounces [oz], oz [oz], scale weight, on the scale"
            ),
        ),
        Column(
            name="flaw",
            meaning="on rejects: what is wrong",
            kind="word",
            words=FLAWS,
            also=("defect",),
            word_phrases=FLAW_PHRASES,
            everyday=phrases(
                "fault, problem, what was wrong, what is wrong, whats wrong, wrong, defects found, defect "
                "type, why bad, reason, reject reason, reason for reject, why rejected, cause of reject, "
                "issue, trouble, kind of flaw, flaw type, fail reason, failure, flw, flaaw, deffect, "
                "defct, blemish, imperfection, what went wrong"
            ),
        ),
        Column(
            name="material",
            meaning="what was poured, if not the mold's usual material",
            kind="name",
            refers_to="item",
            also=("alloy",),
            everyday=phrases(
                "metal, lead, what was poured, poured material, plastic, plastisol, metal used, material "
                "used, melt, lead type, alloy used, stuff, materiel, matirial, materal"
            ),
        ),
        Column(
            name="session",
            meaning="tells two sessions of one day apart",
            kind="name",
            everyday=phrases(
                "pour, pour no, pour number, pour #, run, run no, round, turn, session name, session no, "
                "session number, batch, sitting, lot, session id, sesion, seesion, batch no, batch number"
            ),
        ),
        Column(
            name="note",
            meaning="free text",
            kind="text",
            also=("notes", "remark", "remarks"),
            everyday=phrases(
                "comment, comments, memo, remarks made, details, observation, observations, notes to "
                "self, what else, other notes, nots, rmks, misc, extra, extra notes, ps"
            ),
        ),
    ),
    check=check_row,
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The pour log."""
    return [POUR]
