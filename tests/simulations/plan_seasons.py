"""What a bench has and will need: baits dressed, and the month ahead against the stock that is planned."""

from collections import Counter
from datetime import date, datetime, timedelta
from unittest.mock import patch

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from benchwater.ledger import midnight
from benchwater.ledger.made import baits_dressed
from benchwater.ledger.pieces import Pieces
from benchwater.plugin.bench import Bench, Build, Cavity, Item, Mold, Plan
from benchwater.plugin.season import Season, Span
from pour_plan import compute
from simulations.study import Generator, Held

START, END = date(2026, 3, 1), date(2026, 8, 1)
SESSION_SCATTER = 0.5
FISHED = ["date", "build", "bait", "fate", "count", "fished_h"]
FISHED += ["cause", "water", "angler", "trip", "leader", "habitat"]
POUR = ["date", "mold", "cavity", "outcome", "count", "session", "fill", "flaw", "mold_temp_c", "melt_temp_c"]


def _bench(builds: int, rng: Generator) -> Bench:
    """So many bare builds, each on a cavity of its own; two molds, one to three castings a fill."""
    cavities = {
        mold: {
            f"c{each}": Cavity(name=f"c{each}", mass_g=5, tolerance=0.05, per_fill=int(rng.integers(1, 4)))
            for each in range(builds)
            if each % 2 == place
        }
        for place, mold in enumerate(("one", "two"))
    }
    return Bench(
        name="Simulated",
        items={"alloy": Item(name="alloy", kind="metal", unit="g", print_unit="g", resolution=1.0)},
        molds={name: Mold(name=name, material="alloy", cavities=own) for name, own in cavities.items()},
        builds={
            f"b{each}": Build(
                name=f"b{each}",
                head=("one" if each % 2 == 0 else "two", f"c{each}"),
                planned_hours=float(rng.uniform(3, 20)),
            )
            for each in range(builds)
        },
        plan=Plan(service_level=0.95),
    )


def no_build_runs_out(rng: Generator) -> Held:
    """Whether no build runs out in the month after a plan at 95 %: 2 to 6 builds, few castings on hand.

    Builds lose 0.1 to 0.4 baits an hour, about a mean of their own. Molds gave 4 to 10 sessions, whose good
    shares scatter about 60 to 95 % by half a unit of the logit; so does the session that the plan asks for.
    """
    bench = _bench(int(rng.integers(2, 7)), rng)
    base, like = rng.uniform(0.1, 0.4), rng.uniform(2, 8)
    rates = {name: float(rng.gamma(like, base / like)) for name in bench.builds}
    days = [midnight(START) + timedelta(days=int(day)) for day in np.sort(rng.integers(0, 150, 20))]
    fished = []
    for name, rate in rates.items():
        for day in days:
            hours = float(rng.uniform(0.2, 3))
            lost = int(rng.poisson(rate * hours))
            fished += [(day, name, hours, "kept", 1), *[(day, name, 0.0, "lost", lost)] * bool(lost)]
    poured: list[tuple[object, ...]] = []
    shares = {mold: float(logit(rng.uniform(0.6, 0.95))) for mold in bench.molds}

    def good_share(mold: str) -> float:
        return float(expit(shares[mold] + rng.normal(0, SESSION_SCATTER)))

    for mold, of_mold in bench.molds.items():
        for session in range(int(rng.integers(4, 11))):
            day, share = midnight(START) + timedelta(days=10 * session), good_share(mold)
            for cavity, each in of_mold.cavities.items():
                size = int(rng.integers(3, 9)) * each.per_fill
                good = int(rng.binomial(size, share))
                poured += [
                    _row(day, mold, cavity, "good", good),
                    _row(day, mold, cavity, "reject", size - good),
                ]
    logs = {
        "fishing": pd.DataFrame(fished, columns=["date", "build", "fished_h", "fate", "count"]),
        "pour": pd.DataFrame(poured, columns=[*POUR, "material", "mass_g"]).query("count > 0"),
    }
    season = Season(bench, logs, START, END)
    bodies: dict[tuple[str, str, str | None], int] = {
        (*build.head, None): int(rng.integers(0, 4)) for build in bench.builds.values() if build.head
    }
    with patch.object(compute, "pieces_on_hand", lambda _: Pieces(bodies, {}, {})):
        plan = compute.make_plan(season, Span(name="season", label="", start=START, end=END))
    if plan.thin:
        return None
    made: Counter[tuple[str, str]] = Counter()
    for mold, fills in plan.pour.fills.items():
        share = good_share(mold)
        for cavity, each in bench.molds[mold].cavities.items():
            made[mold, cavity] = int(rng.binomial(fills * each.per_fill, share))
    for need in plan.needs:
        head = need.build.head
        assert head is not None
        lacking = plan.lacking.get(head, {}).get(need.build.name, 0)
        stock = max(need.target, need.on_hand or 0) - max(0, lacking - made[head])
        if rng.poisson(rates[need.build.name] * need.outlook.hours) > stock:
            return False
    return True


def _row(day: datetime, mold: str, cavity: str, outcome: str, count: int) -> tuple[object, ...]:
    return (day, mold, cavity, outcome, count, None, np.nan, None, np.nan, np.nan, None, np.nan)


def bait_count(rng: Generator) -> Held:
    """How many baits of a build were dressed, 3 to 40, of which a share of 30 to 90 % was on the water.

    Of 1 to 4 other builds the fittings used tell the number, and as large a share of these was on the water.
    """
    told = int(rng.integers(1, 5))
    numbers, share = rng.integers(3, 41, told + 1), rng.uniform(0.3, 0.9)
    cavity = Cavity(name="c", mass_g=5, tolerance=0.05)
    alloy = Item(name="alloy", kind="metal", unit="g", print_unit="g", resolution=1.0)
    fittings = [Item(name=f"f{each}", kind="fitting", unit="pieces", print_unit="") for each in range(told)]
    fitted: list[dict[str, float]] = [*({item.name: 1.0} for item in fittings), {}]
    bench = Bench(
        name="Simulated",
        items={item.name: item for item in (alloy, *fittings)},
        molds={"jig": Mold(name="jig", material="alloy", cavities={"c": cavity})},
        builds={
            f"b{each}": Build(name=f"b{each}", head=("jig", "c"), fittings=of)
            for each, of in enumerate(fitted)
        },
    )
    day = midnight(START)
    fished = [
        (day, f"b{build}", f"{build}-{bait}", "kept", 1, 1.0, *[None] * 6)
        for build, number in enumerate(numbers)
        for bait in range(int(rng.binomial(number, share)))
    ]
    used = [(day, item.name, "used", float(n), np.nan) for item, n in zip(fittings, numbers, strict=False)]
    poured = [_row(day, "jig", "c", "good", 500)]
    logs = {
        "fishing": pd.DataFrame(fished, columns=FISHED),
        "inventory": pd.DataFrame(used, columns=["date", "item", "move", "amount", "uncertainty"]),
        "pour": pd.DataFrame(poured, columns=[*POUR, "material", "mass_g"]),
    }
    found = baits_dressed(Season(bench, logs, START, END), midnight(END))[f"b{told}"]
    if not found.seen:
        return None
    return bool(found.low <= numbers[-1] <= found.high)
