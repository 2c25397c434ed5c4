"""Write the demo season into a folder: python tests/demo_season/write_demo_season.py [FOLDER].

The same bytes every time: a fixed seed, no clock. Besides the logs it writes what tests compare against,
`expected_set_aside.json` and `truth.json`, next to this script (or into a second FOLDER).
"""

import json
import sys
from dataclasses import asdict
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from demo_season import standing
from demo_season.bench_story import OVER_HOT, SESSIONS, SOFTENED, UNDERCURED, Bench, reject_share, run
from demo_season.dialects import Dialect, LogFile, Row, SetAside, plain
from demo_season.earlier_story import BAD, Earlier
from demo_season.standing import BUILDS, MOLDS, SEED, Cavity
from demo_season.water_story import SPECIES, TOO_SHORT, TRIPS, ZERO_TRIPS, Water

HERE = Path(__file__).resolve().parent
SAMPLE_LOGS = HERE.parents[1] / "sample_logs"

README = """\
# An invented season

The Alder Flat bench, its two people, its waters and every number here are invented. The files were
written by `tests/demo_season/write_demo_season.py` from a fixed seed; running that again writes the same
bytes, so change the script and not these files.

They are kept the way people keep such files: one pour log per month in whatever form that month's
spreadsheet saved it (May with semicolons and decimal commas, June with tabs, July with Windows line ends,
August in degrees Celsius from another thermometer), one stock book, one coating book with its total at
the bottom, and two logs from the water. The files in `earlier/` are a mere tally of the two
seasons before, when there was neither thermometer nor leader. A handful of rows and one cell cannot be
read and have to be set aside.
"""

POUR = ("date", "mold", "cavity", "outcome", "count", "fill", "mold_temp", "melt_temp", "mass", "flaw")
POUR_FILES = {
    "03": ("pours/pour-march.csv", Dialect(plain(*POUR, "material", "note"))),
    "04": (
        "pours/pour-april.csv",
        Dialect(
            [
                ("date", "Date"),
                ("session", " Session"),
                ("mold", " Mold"),
                ("cavity", " Cavity"),
                ("outcome", " Outcome"),
                ("count", " Count"),
                ("fill", " Fill"),
                ("mold_temp", " Mold Temp [F]"),
                ("melt_temp", " Melt Temp [F]"),
                ("mass", " Mass [g]"),
                ("flaw", " Flaw"),
                ("material", " Material"),
                ("note", " Note"),
            ]
        ),
    ),
    "05": (
        "pours/pour-may.csv",
        Dialect(
            [
                *plain("date", "mold", "cavity", "outcome", "count", "fill"),
                ("mold_temp", "mold_temp [F]"),
                *plain("melt_temp", "mass", "flaw", "material", "note"),
            ],
            delimiter=";",
            encoding="cp1252",
            newline="\r\n",
            decimal_comma=True,
        ),
    ),
    "06": ("pours/pour-june.tsv", Dialect(plain(*POUR, "material", "note"), delimiter="\t")),
    "07": (
        "pours/pour-july.csv",
        Dialect(plain(*POUR, "material", "note"), encoding="utf-8-sig", newline="\r\n"),
    ),
    "08": (
        "pours/pour-august.csv",
        Dialect(
            [
                *plain("date", "mold", "cavity", "outcome", "count", "fill"),
                ("mold_temp", "mold_temp [C]"),
                *plain("melt_temp", "mass", "flaw", "material", "note"),
            ]
        ),
    ),
    "09": (
        "pours/pour-september.csv",
        Dialect([(name, name.upper()) for name in (*POUR, "material", "note")]),
    ),
    "10": ("pours/pour-october.csv", Dialect(plain(*POUR, "material", "note"))),
}
STOCK = Dialect(plain("date", "item", "move", "amount", "cost", "uncertainty", "note"))
COATING = Dialect(
    plain(
        *("date", "mold", "cavity", "coat", "count", "part_temp", "cure_temp", "cure_time"),
        *("rejects", "flaw", "note"),
    )
)
BAITS = Dialect(
    plain(
        *("date", "trip", "water", "angler", "build", "bait", "fished", "fate", "cause", "count"),
        *("habitat", "leader", "casts", "weather", "note"),
    )
)
FISH = Dialect(
    [
        *plain("date", "trip", "water", "angler", "species", "count"),
        ("length", "Length [in]"),
        ("mass", "Mass [oz]"),
        *plain("build", "bait", "habitat", "released", "note"),
    ]
)


def pour_files(bench: Bench) -> list[LogFile]:
    """The pour log, one file a month, each with the units that month was kept in."""
    files = {month: LogFile(path, dialect) for month, (path, dialect) in POUR_FILES.items()}
    for day, row in bench.pours:
        month = day[5:7]
        temp = row.cells.get("mold_temp", "")
        if temp and month == "06":
            row.cells["mold_temp"] = f"{temp} F"
        if temp and month == "08":
            row.cells["mold_temp"] = f"{(int(temp) - 32) / 1.8:.1f}"
        melt = row.cells.get("melt_temp", "")
        if melt and month == "05":
            row.cells["melt_temp"] = f"{melt} °F"
        files[month].rows.append(row)
    return [files[month] for month in sorted(files)]


def insert_by_date(rows: list[Row], row: Row, **where: str) -> None:
    """Put `row` behind the last row of its day or before that holds the given cells."""
    at = max(
        i
        for i, r in enumerate(rows)
        if r.cells["date"][:10] <= row.cells["date"] and all(r.cells.get(k) == v for k, v in where.items())
    )
    rows.insert(at + 1, row)


LOST_WITHOUT_CAUSE_H = 40 / 60


def add_mistakes(
    pours: list[LogFile], stock: LogFile, coating: LogFile, baits: LogFile, fish: LogFile
) -> None:
    """The rows that have to be set aside (no stock balance hangs on them), and one note of two lines."""
    by_name = {log.path: log.rows for log in pours}
    april = by_name["pours/pour-april.csv"]
    blank = {"mold": "round-jig", "cavity": "1/4", "outcome": "blank", "count": "1"}
    hot = Row(
        {"date": "2026-04-02", **blank, "fill": "3", "mold_temp": "hot", "note": "spits when wetted"},
        "mold_temp",
        "words for a temperature",
    )
    at = next(i for i, r in enumerate(april) if r.cells["date"] == "2026-04-02" and r.cells["fill"] == "4")
    april[at - 1] = hot
    june = by_name["pours/pour-june.tsv"]
    reject = {"date": "2026-06-20", "mold": "guard-jig", "outcome": "reject", "count": "1"}
    third = {**reject, "cavity": "1/3", "fill": "12", "flaw": "porosity", "note": "found while trimming"}
    insert_by_date(june, Row(third, "cavity", "unknown cavity"))
    dated = {"date": "2026-06-20", "mold": "guard-jig", "cavity": "1/8"}
    next(r for r in june if dated.items() <= r.cells.items()).cells["cavity"] = "Jan-08"
    july = by_name["pours/pour-july.csv"]
    short = {"date": "2026-07-25", "mold": "round-jig", "cavity": "1/16", "outcome": "reject"}
    fill = [r.cells["fill"] for r in july if short.items() <= r.cells.items()][-1]
    undo = {**short, "count": "-1", "fill": fill, "flaw": "short fill", "note": "one too many above"}
    insert_by_date(july, Row(undo, "count", "negative count"), **short)

    april[0].cells["note"] = "thermometer lent out,\nback next week"

    def stock_row(day: str, item: str, move: str, amount: str, note: str) -> dict[str, str]:
        return {"date": day, "item": item, "move": move, "amount": amount, "note": note}

    ladle = stock_row("2026-05-16", "alloy", "discarded", "3 fl oz", "a ladle full of dross, see next row")
    at = next(
        i
        for i, r in enumerate(stock.rows)
        if r.cells["date"] == "2026-05-16" and r.cells["item"] == "alloy" and r.cells["move"] == "discarded"
    )
    stock.rows.insert(at, Row(ladle, "amount", "unit of another kind"))
    stock.rows[at + 1].cells["note"] = "dross, the same ladle, weighed"
    gift = stock_row("2026-06-12", "hook-3", "received", "10", "gift, odd size")
    insert_by_date(stock.rows, Row(gift, "item", "unknown item"))
    gone = stock_row("2026-07-10", "rattle", "counted", "nan", "pasted from the phone")
    insert_by_date(stock.rows, Row(gone, "amount", "not a number"))

    misspelt = {
        "date": "2026-05-29",
        "build": "old-faithful",
        "fished": "45 min",
        "fate": "kept",
        "leader": "no",
    }
    same_day = next(r.cells for r in baits.rows if r.cells["date"] == "2026-05-29")
    shape = {key: same_day[key] for key in ("trip", "water", "angler", "habitat", "weather")}
    insert_by_date(baits.rows, Row({**shape, **misspelt}, "build", "unknown build"))
    next(r for r in baits.rows if r.cells["build"] == "perch-grub").cells["build"] = "perch-gurb"
    at = max(i for i, r in enumerate(baits.rows) if r.cells["date"] == "2026-08-09")
    lost = {**baits.rows[at].cells, "build": "crappie-grub", "bait": "", "fished": "0:40", "fate": "lost"}
    lost |= {"cause": "", "count": "1", "casts": "", "note": "was gone when I looked"}
    baits.rows.insert(at + 1, Row(lost))

    early = next(i for i, r in enumerate(fish.rows) if r.cells["date"] == "2026-04-05")
    ambiguous = {**fish.rows[early].cells, "date": "03/04/2026", "species": "yellow perch", "count": "1"}
    ambiguous |= {"length": "7.5", "mass": "", "note": "written down at home"}
    fish.rows.insert(early, Row(ambiguous, "date", "ambiguous date"))

    pieces = sum(int(r.cells["count"]) for r in coating.rows)
    rejects = sum(int(r.cells["rejects"] or 0) for r in coating.rows)
    total = {"date": "Total", "count": str(pieces), "rejects": str(rejects)}
    coating.rows.append(Row(total, "date", "totals row"))


def crossing(cavities: list[Cavity], low: float, high: float) -> float:
    """Temperature between `low` and `high` at which the reject rate of these cavities meets the target."""

    def excess(temp_c: float) -> float:
        weight = sum(c.per_fill for c in cavities)
        rate = sum(c.per_fill * reject_share(temp_c, c) for c in cavities) / weight
        return rate - standing.TARGET_REJECT_RATE

    rising = excess(low) < 0
    for _ in range(60):
        middle = (low + high) / 2
        if (excess(middle) < 0) == rising:
            low = middle
        else:
            high = middle
    return low


def window(cavities: list[Cavity]) -> dict[str, float | None]:
    """Where the target reject rate is met, from below and from above."""
    best = min(range(100, 260), key=lambda t: sum(c.per_fill * reject_share(t, c) for c in cavities))
    low, high = crossing(cavities, 60, best), crossing(cavities, best, 300)
    return {
        "low_c": round(low, 1),
        "high_c": round(high, 1),
        "low_f": round(low * 1.8 + 32),
        "high_f": round(high * 1.8 + 32),
    }


def truth(bench: Bench, water: Water, logs: list[LogFile]) -> dict[str, object]:
    """What was built into the season, and what the dice made of it."""
    alloy_cavities = [c for m in MOLDS.values() if m.material == "alloy" for c in m.cavities]
    heads = [m for m in MOLDS.values() if m.material == "alloy"]
    return {
        "seed": SEED,
        "rows": {log.path: len(log.rows) for log in logs},
        "sessions": len(SESSIONS),
        "sessions_without_mold_temp": [
            f"{p.date} {p.mold}" for p in SESSIONS if not p.thermometer or p.mold == "two-inch-grub"
        ],
        "cold_sessions": ["2026-03-03", "2026-03-05", "2026-03-07"],
        "hot_sessions": ["2026-04-25", "2026-06-20", "2026-08-15"],
        "trips": len(TRIPS),
        "zero_trips": list(ZERO_TRIPS),
        "missing_alloy": {
            "month": "2026-06",
            "date": standing.MISSING_ALLOY_DATE,
            "grams": round(standing.MISSING_ALLOY_G, 2),
        },
        "unlogged_purchase": {
            "month": "2026-09",
            "item": standing.UNLOGGED_HOOKS_ITEM,
            "count": standing.UNLOGGED_HOOKS,
            "unaccounted": -standing.UNLOGGED_HOOKS,
        },
        "mold_temperature": {
            "target_reject_rate": standing.TARGET_REJECT_RATE,
            "cold_half_c": standing.COLD_HALF_C,
            "cold_slope_per_k": standing.COLD_SLOPE,
            "flash_0.08_at_c": standing.HOT_ONE_IN_TWELVE_C,
            "flash_slope_per_k": standing.HOT_SLOPE,
            "fill_sd_logit": standing.FILL_SD,
            "plain_flaws": standing.PLAIN_FLAWS,
            "window_all": window(alloy_cavities),
            "window_by_cavity": {f"{m.name} {c.name}": window([c]) for m in heads for c in m.cavities},
            "worst_cavity": {"mold": "round-jig", "cavity": "1/16", "cold_logit_shift": 1.1},
        },
        "mold_heat": {
            m.name: {
                "heat_capacity_j_per_k": m.heat_capacity,
                "loss_w_per_k": m.loss,
                "metal_per_fill_g": round(sum(c.per_fill * c.mass_g for c in m.cavities) * m.sprue_factor, 2),
                "air_c": standing.AIR_C,
                "usual_seconds_per_fill": 45,
            }
            for m in heads
        },
        "bait_ends_per_hour": {
            "bite_off_weeds_no_leader": standing.BITE_OFF_WEEDS_BARE,
            "bite_off_elsewhere_no_leader": standing.BITE_OFF_ELSEWHERE_BARE,
            "bite_off_weeds_leader": round(standing.BITE_OFF_WEEDS_BARE / standing.LEADER_RATIO, 4),
            "bite_off_elsewhere_leader": round(standing.BITE_OFF_ELSEWHERE_BARE / standing.LEADER_RATIO, 4),
            "ratio_without_to_with_leader": standing.LEADER_RATIO,
            "snag_timber": standing.SNAG_TIMBER,
            "snag_elsewhere": standing.SNAG_ELSEWHERE,
            "break_off": standing.BREAK_OFF,
            "torn": standing.TORN,
            "bent_hook": standing.BENT_HOOK,
            "chipped_if_coated": standing.CHIPPED,
        },
        "bite_offs_drawn": {
            group: {"hours": round(water.hours[group], 2), "bite_offs": water.bite_offs[group]}
            for group in ("no leader", "leader", "not recorded")
        },
        "catch": {
            "best_build": standing.BEST_BUILD,
            "fish_per_hour": {b.name: b.rate for b in BUILDS.values()},
            "drawn": {
                b: {"hours": round(water.build_hours[b], 2), "fish": water.build_fish[b]} for b in BUILDS
            },
        },
        "relative_weight": {name: s.wr for name, s in SPECIES.items()},
        "lengths_below_equation": [
            {"species": s, "length_in": length, "date": day} for day, (s, length, _) in TOO_SHORT.items()
        ],
        "finishing": {
            "undercured": {"date": UNDERCURED[0], "build": UNDERCURED[1], "cure_min": 8},
            "over_hot": {"date": OVER_HOT[0], "build": OVER_HOT[1], "cure_f": 450},
            "softened": {"date": SOFTENED, "mold": "pea-jig", "cure_f": 350, "melts_c": 138},
        },
        "melt_over_900_f": ["2026-07-04"],
        "melt_over_842_f": ["2026-05-23", "2026-07-04", "2026-09-19"],
        "dressed": dict(bench.dressed),
        "finished_left": dict(bench.finished),
        "coated_left": {" ".join(key): count for key, count in bench.coated.items()},
        "heads_left": {" ".join(key): count for key, count in bench.heads.items()},
        "trailers_left": bench.trailers,
        "stock_at_the_end": {item: round(amount, 2) for item, amount in bench.stock.items()},
    }


def tell() -> tuple[list[LogFile], dict[str, object]]:
    """The whole story as logs, and what was built into it."""
    bench = Bench(Random(f"{SEED} pour"), Random(f"{SEED} stock"))
    water = Water(Random(f"{SEED} water"), Random(f"{SEED} fish"), bench)
    run(bench, water.day)
    pours = pour_files(bench)
    stock = LogFile("bench/stock 2026.csv", STOCK, bench.inventory)
    coating = LogFile("bench/coating.csv", COATING, bench.finishing)
    baits = LogFile("water/baits.csv", BAITS, water.baits)
    fish = LogFile("water/fish.csv", FISH, water.fish)
    add_mistakes(pours, stock, coating, baits, fish)
    # The bait lost without a cause, on 9 August, was fished all the same.
    water.hours["no leader"] += LOST_WITHOUT_CAUSE_H
    water.build_hours["crappie-grub"] += LOST_WITHOUT_CAUSE_H
    earlier = Earlier(Random(f"{SEED} earlier"))
    earlier.tell()
    logs = [*pours, stock, coating, baits, fish, *earlier_files(earlier)]
    return logs, {**truth(bench, water, logs), "earlier_seasons": earlier_truth(earlier)}


def earlier_files(earlier: Earlier) -> list[LogFile]:
    """The tally of the seasons before, one file a log."""
    files = (
        ("pours", "date mold cavity outcome count flaw", earlier.pours),
        ("stock", "date item move amount cost note", earlier.stock),
        ("coating", "date mold cavity coat count rejects", earlier.coating),
        ("baits", "date trip water angler build fished fate cause habitat leader", earlier.baits),
        ("fish", "date trip water angler species count build habitat", earlier.fish),
    )
    return [
        LogFile(f"earlier/{name}.csv", Dialect(plain(*columns.split())), rows)
        for name, columns, rows in files
    ]


def earlier_truth(earlier: Earlier) -> dict[str, object]:
    """Share of bad heads built into each season, and what the dice made of it."""
    return {
        str(year): {
            "bad_heads": bad,
            "drawn": {name: round(number, 2) for name, number in sorted(earlier.drawn[year].items())},
        }
        for year, bad in BAD.items()
    }


def write(folder: Path, answers: Path) -> None:
    """Write logs, bench.toml and README below `folder`, and the answers into `answers`."""
    logs, built_in = tell()
    folder.mkdir(parents=True, exist_ok=True)
    answers.mkdir(parents=True, exist_ok=True)
    set_aside: list[SetAside] = []
    for log in logs:
        set_aside += log.write(folder)
    kept_as_is = "* -text\n"
    for name, text in (
        ("bench.toml", standing.BENCH_TOML),
        ("README.md", README),
        (".gitattributes", kept_as_is),
    ):
        (folder / name).write_bytes(text.encode())
    for name, content in (
        ("expected_set_aside.json", [asdict(row) for row in set_aside]),
        ("truth.json", built_in),
    ):
        text = json.dumps(content, indent=2, ensure_ascii=False) + "\n"
        (answers / name).write_bytes(text.encode())


if __name__ == "__main__":
    write(
        Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE_LOGS,
        Path(sys.argv[2]) if len(sys.argv) > 2 else HERE,
    )
