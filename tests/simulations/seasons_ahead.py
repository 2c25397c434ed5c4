"""A season ahead against the stock planned for it, where seasons, trips and sessions of pouring differ."""

from datetime import date, timedelta
from unittest.mock import patch

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from benchwater.ledger import midnight
from benchwater.ledger.pieces import Pieces
from benchwater.plugin.season import Season, Span
from pour_plan import compute
from pour_plan.ahead import plan_ahead
from simulations.plan_seasons import POUR, SESSION_SCATTER, _bench, _row
from simulations.study import Generator, Held

END, UNTIL = date(2026, 9, 1), date(2027, 8, 31)
FILLS = 8


def no_build_runs_out(rng: Generator) -> Held:
    """Whether no build runs out in the season after a plan at 95 %, from 1 to 4 seasons of 15 to 30 trips.

    2 to 6 builds lose 0.1 to 0.4 baits an hour, about a mean of their own; a season's rate of loss differs
    from that by up to 40 %, a trip's by up to 70 % (standard deviations of gamma factors, all builds alike).
    """
    bench = _bench(int(rng.integers(2, 7)), rng)
    base, like = rng.uniform(0.1, 0.4), rng.uniform(2, 8)
    rates = {name: float(rng.gamma(like, base / like)) for name in bench.builds}
    seasons, trips = rng.uniform(0, 0.4), rng.uniform(0, 0.7)

    def factor(deviation: float) -> float:
        return float(rng.gamma(deviation**-2, deviation**2)) if deviation > 0.01 else 1.0

    fished: list[tuple[object, ...]] = []
    for year in range(2027 - int(rng.integers(1, 5)), 2027):
        of_season = factor(seasons)
        days = np.sort(rng.integers(0, 184, int(rng.integers(15, 31))))
        for day in (midnight(date(year, 3, 1)) + timedelta(days=int(each)) for each in days):
            of_trip = of_season * factor(trips)
            for name in bench.builds:
                if rng.random() < 0.5:
                    hours = float(rng.uniform(0.2, 3))
                    lost = int(rng.poisson(rates[name] * of_trip * hours))
                    where = (None, f"{day:%m-%d}")
                    fished += [(day, name, hours, "kept", 1, *where)]
                    fished += [(day, name, 0.0, "lost", lost, *where)] * bool(lost)
    shares = {mold: float(logit(rng.uniform(0.6, 0.95))) for mold in bench.molds}

    poured = []
    for mold, of_mold in bench.molds.items():
        for session in range(int(rng.integers(4, 11))):
            day = midnight(date(2026, 3, 1)) + timedelta(days=10 * session)
            share = float(expit(shares[mold] + rng.normal(0, SESSION_SCATTER)))
            for cavity, each in of_mold.cavities.items():
                size = FILLS * each.per_fill
                made = int(rng.binomial(size, share))
                poured += [
                    _row(day, mold, cavity, "good", made),
                    _row(day, mold, cavity, "reject", size - made),
                ]
    columns = ["date", "build", "fished_h", "fate", "count", "trip", "water"]
    logs = {
        "fishing": pd.DataFrame(fished, columns=columns).sort_values("date", kind="stable"),
        "pour": pd.DataFrame(poured, columns=[*POUR, "material", "mass_g"]).query("count > 0"),
    }
    season = Season(bench, logs, date(2026, 3, 1), END)
    bodies: dict[tuple[str, str, str | None], int] = {
        (*build.head, None): int(rng.integers(0, 10)) for build in bench.builds.values() if build.head
    }
    with patch.object(compute, "pieces_on_hand", lambda _: Pieces(bodies, {}, {})):
        ahead = plan_ahead(season, Span(name="season", label="", start=date(2026, 3, 1), end=END), UNTIL)
    if ahead is None or ahead.plan.thin:
        return None
    made_of: dict[tuple[str, str], int] = {}
    for mold, fills in ahead.plan.pour.fills.items():
        for evening in range(0, fills, FILLS):
            share = float(expit(shares[mold] + rng.normal(0, SESSION_SCATTER)))
            for cavity, each in bench.molds[mold].cavities.items():
                castings = min(FILLS, fills - evening) * each.per_fill
                made_of[mold, cavity] = made_of.get((mold, cavity), 0) + int(rng.binomial(castings, share))
    of_season = factor(seasons)
    of_trips = np.array([factor(trips) for _ in range(22)])
    for need in ahead.plan.needs:
        head = need.build.head
        assert head is not None
        lacking = ahead.plan.lacking.get(head, {}).get(need.build.name, 0)
        stock = max(need.target, need.on_hand or 0) - max(0, lacking - made_of.get(head, 0))
        parts = rng.dirichlet(np.full(22, 2.0)) * need.outlook.hours
        if rng.poisson(rates[need.build.name] * of_season * of_trips * parts).sum() > stock:
            return False
    return True
