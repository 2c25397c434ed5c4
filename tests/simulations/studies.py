"""Every study with its band, and the seed that it is drawn from.

Seed and bands are committed before anything is drawn from that seed: see summary.md for how.
"""

from collections.abc import Callable

from benchwater.words import listed
from simulations import fished_trips as trips
from simulations import mold_seasons as mold
from simulations import plan_seasons as plan
from simulations import seasons_ahead
from simulations import shares_and_lives as lives
from simulations import stock_seasons as stock
from simulations.study import Generator, Held, Study

EXACT = "exact: at least 95 %"
WIDER = "the wider of two limits, of which one is exact where trips are alike: at least 95 %"
WHOLE = "whole baits and fills: at least what is stated"
TRIPS_SEED = 0x59D0F426
PLAN_SEED = 0x03832389
AHEAD_SEED = 0x35F9CE0F
SEASONS_SEED = 0xB263434D
RECTANGLES = (
    "few tolerances and roundings, each anything within its limits, weigh most: twice the standard "
    "uncertainty of a rectangle is 115 % of its half-width, and holds it always"
)
FILLS = "whole fills, of which the limits take in both ends"
SESSIONS = (
    "a design effect is never taken below 1, and a limit that does not show within the temperatures logged "
    "is open"
)
SCATTERS = (0.0, 0.5, 1.0)
SESSION_SEED = 0x8E100007
BOUND = f"{RECTANGLES}; besides, the tolerance stands in for a scatter that too few weighings show"


def _verdict(name: str, draw: Callable[[Generator], Held]) -> Study:
    """A verdict that is right unless it raises a false alarm: at most in 6 %."""
    return Study(name=name, draw=draw, again=100, low=0.94, high=1.0)


def _named(name: str, draw: Callable[[Generator], Held]) -> Study:
    """An error that is made, and right if it is named, and no other."""
    return Study(name=name, draw=draw, seasons=2000, again=50, low=0.90, high=1.0)


def _by_session(name: str, draw: Callable[[Generator, float], Held], *scatters: float) -> Study:
    """A study whose sessions differ on the logit by a standard deviation, each of `scatters` as often."""

    def drawn(rng: Generator) -> Held:
        return draw(rng, float(rng.choice(scatters)))

    by = listed(f"{scatter:g}" for scatter in scatters).replace(" and ", " or ")
    drawn.__doc__ = f"{draw.__doc__}; sessions differ by {by} on the logit"
    cheap = draw is mold.reject_rate
    return Study(
        name=f"{name}, sessions differ by {by}",
        draw=drawn,
        seasons=4000 if cheap else 1000,
        again=250 if cheap else 20,
        above=FILLS if draw is mold.first_good_fill else SESSIONS,
        seed=SESSION_SEED,
    )


STUDIES = (
    Study(name="Wilson", draw=lives.wilson),
    Study(name="Clopper-Pearson", draw=lives.clopper_pearson, above=EXACT),
    Study(name="Wilson with design effect of fills", draw=lives.clustered_wilson),
    Study(name="Metal yield of a mold", draw=mold.metal_yield, again=25),
    Study(name="Times as often in a cavity, within fills", draw=lives.cavity_ratio, seed=SESSION_SEED),
    Study(name="Garwood", draw=lives.garwood, above=EXACT),
    Study(name="Exact rate ratio", draw=lives.exact_rate_ratio, above=EXACT),
    Study(name="Exact rate ratio within waters", draw=lives.exact_common_ratio, again=125, above=EXACT),
    Study(name="Ratio of totals", draw=lives.catch_per_hour),
    Study(name="Mean by Student's t", draw=lives.relative_weight),
    Study(name="Kaplan-Meier, log(-log)", draw=lives.survival),
    Study(name="Kaplan-Meier after late entry", draw=lives.survival_after_late_entry),
    Study(name="Median life", draw=lives.median_life),
    Study(name="Restricted mean life", draw=lives.mean_life),
    Study(name="Incidence of one cause", draw=lives.incidence, again=125),
    Study(name="Loss rate, trips unlike", draw=trips.loss_rate, seed=TRIPS_SEED),
    Study(
        name="Ratio between trips unlike",
        draw=trips.ratio_between_trips,
        again=50,
        above=WIDER,
        seed=TRIPS_SEED,
    ),
    Study(
        name="Ratio within trips unlike",
        draw=trips.ratio_within_trips,
        again=50,
        above=WIDER,
        seed=TRIPS_SEED,
    ),
    Study(name="Median life, trips unlike", draw=trips.median_life, seed=TRIPS_SEED),
    Study(name="Season against season", draw=trips.season_against_season, seed=SEASONS_SEED),
    Study(name="Unaccounted, k = 2, weighed", draw=stock.unaccounted, again=100),
    Study(name="Unaccounted, k = 2, mixed", draw=stock.unaccounted_mixed, again=100, above=BOUND),
    Study(name="Unaccounted, k = 2, few weighed", draw=stock.unaccounted_few, again=100, above=BOUND),
    Study(
        name="Unaccounted, k = 2, few, scatter known",
        draw=stock.unaccounted_known,
        again=100,
        above=RECTANGLES,
    ),
    Study(name="Unaccounted, k = 2, nominal", draw=stock.unaccounted_nominal, again=100, above=RECTANGLES),
    Study(name="Dross, k = 2", draw=stock.dross_share, again=100, above=RECTANGLES),
    *(_by_session("Reject rate", mold.reject_rate, scatter) for scatter in SCATTERS),
    _by_session("Target temperature", mold.target_temperature, *SCATTERS),
    _by_session("Upper end of the window", mold.window_top, *SCATTERS),
    _by_session("Fitted share of cold flaws", mold.cold_share, *SCATTERS),
    _by_session("First good fill, no thermometer", mold.first_good_fill, *SCATTERS),
    _verdict("Verdict of a month with every row", stock.nothing_missing),
    _verdict("Verdict of weighed months with every row", stock.nothing_missing_weighed),
    _verdict("Chain of counts with every row", stock.chain_agrees),
    _named("Loss named", stock.loss_named),
    _named("Count 10 times too large named", stock.slip_named),
    Study(
        name="No build runs out",
        draw=plan.no_build_runs_out,
        seasons=1200,
        again=40,
        above=WHOLE,
        seed=PLAN_SEED,
    ),
    Study(name="Baits dressed", draw=plan.bait_count, seasons=2000, again=50, above=WHOLE, seed=PLAN_SEED),
    Study(
        name="No build runs out in a season ahead",
        draw=seasons_ahead.no_build_runs_out,
        seasons=400,
        again=20,
        above=WHOLE,
        seed=AHEAD_SEED,
    ),
)

PROTOCOL = (
    "**How seed and bands were fixed.** The methods were tuned on other seeds. Earlier forms of this",
    "table were drawn from 20260601: there the row of weighed castings lay at 98.2 %, and its band was",
    "widened to 99 % once that was seen; the target temperature first lay at 92.8 %, by a test in place",
    "of its printed limits. While the scatter of castings, the fits of few hot flaws and the doubt in",
    "other flaws were put right, seasons were drawn from 1 to 3, 5, 7, 31, 32, 41, 42, 51, 777, 4242 and",
    "9001 to 9004, and rows of tolerances were seen to lie above 97 %. Then methods, seasons and bands",
    "were left as they are. The seed is the first eight hexadecimal digits of commit 3e1171f8569c, the",
    "last that changed a method: nobody can choose those. Seed, bands and numbers of seasons were",
    "committed next, with nothing drawn; then `tests/simulations/write_summary.py` was run once. The",
    "order of the commits is the proof. The rows of trips that are unlike came later, their methods tuned",
    "on seeds 5, 77 and 78; their seed is of commit 59d0f426c5bc, the last that changed these methods,",
    "and they alone were drawn from it, once. So were the rows of the plan and of baits dressed, tuned on",
    "seeds 1 to 3, 7, 11 and 21 to 23, from the seed of commit 0383238904a5.",
    "The row of the season ahead was tuned on seeds 1 to 3; its seed is of commit 35f9ce0fadb7. So was",
    "that of the season against the season before, whose seed is of commit b263434d26af.",
    "",
    "Rows in which sessions differ were added when sessions became the unit, and with them the ratio of",
    "cavities was drawn anew, as its limits had changed. They were tuned on 3, 5, 11 and 4711; their seed",
    "is that of commit 8e100007b46b, the last that changed their method, and they were drawn once likewise.",
    "Four of them held 400 seasons at first; seasons 400 to 999 were drawn later from the same seed, once.",
    "",
    "Asked are 93 to 97 %. An exact method may lie above, and so may one whose errors are mostly",
    "rectangular, for the reason given below the table. A verdict may raise a false alarm in 6 %. A row",
    "that lies outside is reported as outside.",
    "",
    "`drawn.csv` names the seasons that were not right. Each season has a stream of its own, so that the",
    "tests draw the first ones of each study again and hold them to it. The limits of the target",
    "temperature and of the window's upper end are the printed ones, in every season.",
)
