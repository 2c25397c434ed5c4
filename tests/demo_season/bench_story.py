"""The bench half of the story: pouring, coating, dressing, buying, counting."""

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from random import Random

from demo_season import standing
from demo_season.dialects import Row
from demo_season.standing import BUILDS, HOOK_MASS_G, MOLDS, OUNCE_G, POUND_G, Build, Cavity, Mold

LIQUIDUS_C = 247.0
HEAT_LIQUID = 147.0
HEAT_LATENT = 28000.0
HEAT_SOLID = 136.0
EJECTED_ABOVE_MOLD_K = 15.0


@dataclass(frozen=True)
class Plan:
    """One pour session as it was meant: `preheat_c` is the mold before the first fill."""

    date: str
    mold: str
    fills: int
    blanks: int = 0
    preheat_c: float = 0.0
    melt_f: int = 0
    pace_s: float = 45.0
    thermometer: bool = True
    time: str = ""
    session: str = ""
    material: str = ""
    note: str = ""
    step_f: int = 1


SESSIONS = (
    Plan(
        "2026-03-03", "round-jig", 8, 1, 78, 700, note="first melt of the year, mold straight off the shelf"
    ),
    Plan("2026-03-05", "guard-jig", 6, 1, 84, 710, step_f=5),
    Plan(
        "2026-03-07", "round-jig", 9, 2, 92, 720, time="09:40", note='"warm enough", said Orrin; it was not'
    ),
    Plan("2026-03-08", "two-inch-grub", 5, melt_f=350),
    Plan("2026-03-12", "round-jig", 8, 4, 122, 730, note="mold rested on the pot rim, then four blanks"),
    Plan("2026-03-14", "two-inch-grub", 6, melt_f=345, material="plastic-chartreuse"),
    Plan("2026-03-19", "guard-jig", 5, 4, 128, 730, time="18:15", step_f=5),
    Plan("2026-03-24", "pea-jig", 6, 2, melt_f=410, thermometer=False, note="probe does not fit this mold"),
    Plan("2026-04-02", "round-jig", 7, 3, 112, 730, thermometer=False, note="thermometer lent out"),
    Plan("2026-04-07", "two-inch-grub", 5, melt_f=350),
    Plan("2026-04-11", "round-jig", 7, 4, 130, 740, session="morning", time="08:50"),
    Plan("2026-04-11", "two-inch-grub", 5, melt_f=355, session="evening", material="plastic-chartreuse"),
    Plan("2026-04-18", "guard-jig", 5, 4, 132, 735, step_f=5),
    Plan("2026-04-25", "round-jig", 8, 3, 203, 760, pace_s=34, note="hot plate left on high, mold frosted"),
    Plan("2026-05-02", "round-jig", 7, 4, 134, 735),
    Plan("2026-05-09", "two-inch-grub", 5, melt_f=350),
    Plan("2026-05-16", "guard-jig", 5, 4, 136, 740, time="17:30"),
    Plan("2026-05-23", "round-jig", 7, 3, 140, 860, note="pot dial slipped – turned down after fill 5"),
    Plan("2026-05-27", "two-inch-grub", 4, melt_f=350, material="plastic-chartreuse"),
    Plan("2026-06-03", "round-jig", 7, 3, 138, 730, time="19:05"),
    Plan("2026-06-08", "two-inch-grub", 5, melt_f=350),
    Plan("2026-06-13", "round-jig", 7, 4, 142, 745, step_f=5),
    Plan("2026-06-20", "guard-jig", 7, 3, 197, 770, pace_s=30, note="no rests between fills"),
    Plan("2026-06-26", "two-inch-grub", 5, melt_f=350, material="plastic-chartreuse"),
    Plan(
        "2026-07-04", "round-jig", 6, 3, 150, 915, time="10:10", note="pot left on full; stopped, doors open"
    ),
    Plan("2026-07-11", "two-inch-grub", 5, melt_f=350),
    Plan("2026-07-18", "pea-jig", 6, 2, melt_f=405, thermometer=False),
    Plan("2026-07-25", "round-jig", 7, 4, 140, 730, thermometer=False, note="battery flat"),
    Plan("2026-08-05", "guard-jig", 5, 4, 146, 740, time="18:40"),
    Plan("2026-08-08", "two-inch-grub", 5, melt_f=350, material="plastic-chartreuse"),
    Plan("2026-08-15", "round-jig", 8, 2, 209, 765, pace_s=34),
    Plan("2026-08-22", "two-inch-grub", 4, melt_f=355),
    Plan("2026-09-03", "round-jig", 7, 3, 140, 735),
    Plan("2026-09-05", "two-inch-grub", 5, melt_f=350, material="plastic-chartreuse"),
    Plan("2026-09-12", "guard-jig", 5, 4, 138, 735, thermometer=False),
    Plan("2026-09-19", "round-jig", 7, 4, 144, 850, time="09:15"),
    Plan("2026-09-26", "two-inch-grub", 5, melt_f=350),
    Plan("2026-10-03", "round-jig", 7, 4, 140, 740),
    Plan("2026-10-10", "pea-jig", 5, 2, melt_f=400, thermometer=False),
    Plan("2026-10-17", "guard-jig", 4, 4, 140, 735, step_f=5),
    Plan("2026-10-24", "two-inch-grub", 5, melt_f=350, material="plastic-chartreuse"),
)

COATING_DAYS = (
    *("2026-03-15", "2026-03-26", "2026-04-08", "2026-04-21", "2026-05-06", "2026-05-20", "2026-06-10"),
    *("2026-06-24", "2026-07-08", "2026-07-22", "2026-08-10", "2026-08-26", "2026-09-09", "2026-09-23"),
    *("2026-10-07", "2026-10-21"),
)
DRESSING_DAYS = (
    *("2026-03-17", "2026-03-28", "2026-04-10", "2026-04-23", "2026-05-08", "2026-05-22", "2026-06-12"),
    *("2026-06-27", "2026-07-10", "2026-07-24", "2026-08-12", "2026-08-28", "2026-09-11", "2026-09-25"),
    *("2026-10-09", "2026-10-23"),
)
UNDERCURED = ("2026-03-15", "crappie-grub")
OVER_HOT = ("2026-08-10", "perch-grub")
SOFTENED = "2026-07-22"

COUNT_DAYS = (
    *("2026-03-01", "2026-03-31", "2026-04-30", "2026-05-31", "2026-06-30", "2026-07-31", "2026-08-31"),
    *("2026-09-30", "2026-10-31"),
)

OPENING = {
    "alloy": 6.5 * POUND_G,
    "tin-bismuth": 0.75 * POUND_G,
    "hook-6": 130.0,
    "hook-4": 150.0,
    "hook-2": 110.0,
    "chartreuse": 96.0,
    "pearl": 104.0,
    "plastic-pearl": 205.0,
    "plastic-chartreuse": 180.0,
    "skirt-black": 34.0,
    "skirt-olive": 28.0,
    "eye-3mm": 90.0,
    "rattle": 30.0,
    "guard": 42.0,
    "glue": 18.0,
}
RESOLUTION = {
    "alloy": 5.0,
    "tin-bismuth": 1.0,
    "chartreuse": 1.0,
    "pearl": 1.0,
    "plastic-pearl": 1.0,
    "plastic-chartreuse": 1.0,
    "glue": 1.0,
}

BOUGHT = (
    ("2026-03-10", "hook-4", "50", 50.0, "9.50", "received", ""),
    ("2026-03-10", "eye-3mm", "100", 100.0, "4.80", "received", ""),
    ("2026-04-04", "alloy", "5 lb", 5 * POUND_G, "26.00", "received", "ingots, stamped weight"),
    ("2026-04-04", "hook-6", "50", 50.0, "8.50", "received", ""),
    ("2026-04-15", "hook-4", "50", 50.0, "9.50", "received", ""),
    ("2026-05-05", "plastic-pearl", "8 fl oz", 8 * 31.939412, "8.00", "received", ""),
    ("2026-05-14", "hook-6", "100", 100.0, "16.00", "received", "two packs, one dollar off"),
    ("2026-05-14", "hook-4", "50", 50.0, "9.75", "received", ""),
    ("2026-06-06", "hook-2", "50", 50.0, "11.00", "received", ""),
    ("2026-06-18", "skirt-olive", "25", 25.0, "7.25", "received", ""),
    ("2026-07-07", "alloy", "1 1/2 lb", 1.5 * POUND_G, "", "recovered", "old sinkers from the shed, cleaned"),
    ("2026-07-07", "plastic-chartreuse", "8 fl oz", 8 * 31.939412, "8.20", "received", ""),
    ("2026-07-15", "hook-4", "50", 50.0, "9.75", "received", ""),
    ("2026-07-15", "glue", "20 g", 20.0, "6.90", "received", ""),
    ("2026-08-04", "hook-6", "100", 100.0, "17.50", "received", ""),
    ("2026-08-04", "skirt-black", "25", 25.0, "7.25", "received", ""),
    ("2026-08-18", "alloy", "2 1/2 lb", 2.5 * POUND_G, "13.75", "received", ""),
    ("2026-08-18", "guard", "25", 25.0, "6.60", "received", ""),
    ("2026-09-08", "chartreuse", "2 oz", 2 * OUNCE_G, "5.40", "received", "half jar"),
    ("2026-09-08", "hook-2", "50", 50.0, "11.50", "received", ""),
    ("2026-09-08", "eye-3mm", "100", 100.0, "5.00", "received", ""),
)
LEFT = (
    ("2026-04-20", "hook-4", "used", "6", 6.0, "plain live-bait rigs for the neighbors' children"),
    ("2026-05-20", "pearl", "discarded", "3/8 oz", 3 / 8 * OUNCE_G, "cup knocked over, swept up with grit"),
    ("2026-08-10", "glue", "discarded", "2 g", 2.0, "gone stringy"),
    ("2026-09-24", "skirt-black", "discarded", "3", 3.0, "stuck together"),
)
GRUB_REJECTS = 0.08


def casting_mix(castings: list[tuple[str, str]]) -> list[tuple[str, str, int]]:
    """(outcome, flaw) of single castings, gathered into (outcome, flaw, count) in order of first sight."""
    counts: dict[tuple[str, str], int] = {}
    for casting in castings:
        counts[casting] = counts.get(casting, 0) + 1
    return [(outcome, flaw, count) for (outcome, flaw), count in counts.items()]


def logistic(logit: float) -> float:
    return 1 / (1 + math.exp(-logit))


def cold_share(temp_c: float, cavity: Cavity, fill_effect: float = 0.0) -> float:
    """Chance of a short fill or cold shut."""
    return logistic(-standing.COLD_SLOPE * (temp_c - standing.COLD_HALF_C) + cavity.cold_shift + fill_effect)


def hot_share(temp_c: float) -> float:
    """Chance of flash."""
    return logistic(standing.HOT_LOGIT_THERE + standing.HOT_SLOPE * (temp_c - standing.HOT_ONE_IN_TWELVE_C))


def reject_share(temp_c: float, cavity: Cavity) -> float:
    """Chance that a casting of this cavity is a reject, averaged over fills."""
    plain = sum(
        share * (cavity.misset_factor if flaw == "misset insert" else 1.0)
        for flaw, share in standing.PLAIN_FLAWS.items()
    )
    steps = [(-3 + 6 * i / 60) for i in range(61)]
    weights = [math.exp(-z * z / 2) for z in steps]
    cold = sum(
        w * cold_share(temp_c, cavity, standing.FILL_SD * z) for z, w in zip(steps, weights, strict=True)
    )
    cold /= sum(weights)
    return 1 - (1 - cold) * (1 - hot_share(temp_c)) * (1 - plain)


@dataclass
class Bench:
    """What lies on the bench from day to day, and every row written about it."""

    rng_pour: Random
    rng_stock: Random
    stock: dict[str, float] = field(default_factory=lambda: dict(OPENING))
    heads: defaultdict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))
    coated: defaultdict[tuple[str, str, str], int] = field(default_factory=lambda: defaultdict(int))
    finished: defaultdict[str, int] = field(default_factory=lambda: defaultdict(int))
    dressed: defaultdict[str, int] = field(default_factory=lambda: defaultdict(int))
    trailers: int = 0
    torn: int = 0
    pours: list[tuple[str, Row]] = field(default_factory=list)
    inventory: list[Row] = field(default_factory=list)
    finishing: list[Row] = field(default_factory=list)

    def move(
        self, day: str, item: str, move: str, amount: str, cost: str = "", note: str = "", u: str = ""
    ) -> None:
        """Write one inventory row (the stock itself is changed by the caller)."""
        cells = {"date": day, "item": item, "move": move, "amount": amount, "cost": cost}
        self.inventory.append(Row({**cells, "uncertainty": u, "note": note}))

    # --- pouring ---------------------------------------------------------

    def pour(self, plan: Plan) -> None:
        mold = MOLDS[plan.mold]
        if mold.name == "two-inch-grub":
            self._pour_grubs(plan, mold)
        else:
            self._pour_heads(plan, mold)

    def _pour_heads(self, plan: Plan, mold: Mold) -> None:
        rng = self.rng_pour
        temp_c = plan.preheat_c
        melt_c = (plan.melt_f - 32) / 1.8
        metal_g = sum(c.per_fill * c.mass_g for c in mold.cavities) * mold.sprue_factor
        for fill in range(1, plan.blanks + plan.fills + 1):
            reading_f = 1.8 * (temp_c + rng.gauss(0, 1.2)) + 32
            melt = f"{plan.melt_f + 5 * rng.randint(-2, 2)}" if fill % 4 == 1 else ""
            gap = plan.thermometer and rng.random() < 0.03
            fill_effect = rng.gauss(0, standing.FILL_SD)
            first_row = True
            for cavity in mold.cavities:
                if fill <= plan.blanks:
                    mix = [("blank", "", cavity.per_fill)]
                else:
                    castings = [
                        self._casting(mold, cavity, temp_c, fill, fill_effect) for _ in range(cavity.per_fill)
                    ]
                    mix = casting_mix(castings)
                for outcome, flaw, count in mix:
                    cells = self._pour_cells(plan, cavity, fill, outcome, flaw, count)
                    if plan.thermometer and not gap:
                        cells["mold_temp"] = f"{plan.step_f * round(reading_f / plan.step_f)}"
                    cells["melt_temp"] = melt
                    if first_row and fill == 1:
                        cells["note"] = plan.note
                    first_row = False
                    if outcome == "good":
                        mass = self._take_metal(mold, cavity, count)
                        if rng.random() < 0.22:
                            cells["mass"] = f"{mass:.1f}"
                        self.heads[mold.name, cavity.name] += count
                    if outcome != "blank" and cavity.insert:
                        self.stock[cavity.insert] -= count
                    self.pours.append((plan.date, Row(cells)))
            if mold.material == "alloy":
                heat = HEAT_LIQUID * (melt_c - LIQUIDUS_C) + HEAT_LATENT
                heat += HEAT_SOLID * (LIQUIDUS_C - temp_c - EJECTED_ABOVE_MOLD_K)
                temp_c += heat * metal_g / 1000 / mold.heat_capacity
                pause_s = plan.pace_s + rng.gauss(0, 4)
                kept = math.exp(-pause_s * mold.loss / mold.heat_capacity)
                temp_c = standing.AIR_C + (temp_c - standing.AIR_C) * kept
        self._skim(plan.date, mold.material)

    def _casting(
        self, mold: Mold, cavity: Cavity, temp_c: float, fill: int, fill_effect: float
    ) -> tuple[str, str]:
        rng = self.rng_pour
        if mold.material == "alloy":
            cold, hot = cold_share(temp_c, cavity, fill_effect), hot_share(temp_c)
        else:
            cold, hot = (0.25 if fill <= 3 else 0.06), 0.01
        if rng.random() < cold:
            return "reject", "cold shut" if rng.random() < standing.COLD_SHUT_SHARE else "short fill"
        if rng.random() < hot:
            return "reject", "flash"
        for flaw, share in standing.PLAIN_FLAWS.items():
            if rng.random() < share * (cavity.misset_factor if flaw == "misset insert" else 1.0):
                return "reject", flaw
        return "good", ""

    def _pour_cells(
        self, plan: Plan, cavity: Cavity, fill: int, outcome: str, flaw: str, count: int
    ) -> dict[str, str]:
        return {
            "date": f"{plan.date} {plan.time}".strip(),
            "mold": plan.mold,
            "cavity": cavity.name,
            "outcome": outcome,
            "count": "" if count == 1 and self.rng_pour.random() < 0.3 else str(count),
            "fill": str(fill),
            "flaw": flaw,
            "material": plan.material,
            "session": plan.session,
        }

    def _take_metal(self, mold: Mold, cavity: Cavity, count: int) -> float:
        """Take good castings' metal out of the stock; what they weigh with their hooks in."""
        mean = cavity.mass_g * cavity.true_ratio
        metal = sum(mean * (1 + self.rng_pour.gauss(0, 0.012)) for _ in range(count))
        self.stock[mold.material] -= metal
        return metal + count * (HOOK_MASS_G[cavity.insert] if cavity.insert else 0.0)

    def _skim(self, day: str, material: str) -> None:
        if material == "alloy":
            dross = self.rng_stock.uniform(14, 36)
            logged = f"{5 * round(dross / 5)} g"
        else:
            dross = self.rng_stock.uniform(1.6, 4.4)
            logged = f"{round(dross)} g"
        self.stock[material] -= dross
        self.move(day, material, "discarded", logged, note="dross")

    def _pour_grubs(self, plan: Plan, mold: Mold) -> None:
        rng = self.rng_pour
        cavity = mold.cavities[0]
        item = plan.material or mold.material
        for fill in range(1, plan.fills + 1):
            castings: list[tuple[str, str]] = []
            for _ in range(cavity.per_fill):
                bad = rng.random() < GRUB_REJECTS
                flaw = ("short fill", "porosity", "other")[rng.randrange(3)] if bad else ""
                castings.append(("reject" if bad else "good", flaw))
            for index, (outcome, flaw, count) in enumerate(casting_mix(castings)):
                cells = self._pour_cells(plan, cavity, fill, outcome, flaw, count)
                if fill == 1 and index == 0:
                    cells["melt_temp"] = str(plan.melt_f)
                    cells["note"] = plan.note
                if outcome == "good":
                    mass = sum(cavity.mass_g * (1 + rng.gauss(0, 0.02)) for _ in range(count))
                    self.stock[item] -= mass
                    self.trailers += count
                    if rng.random() < 0.25:
                        cells["mass"] = f"{mass:.1f}"
                self.pours.append((plan.date, Row(cells)))
        waste = self.rng_stock.uniform(1.6, 5.4)
        self.stock[item] -= waste
        self.move(plan.date, item, "discarded", f"{round(waste)} g", note="scorched rim of the cup")

    # --- coating and dressing -----------------------------------------------

    def coat(self, day: str) -> None:
        rng = self.rng_stock
        if day == SOFTENED:
            self._soften(day)
        for build in BUILDS.values():
            if build.coat is None:
                continue
            key = (build.mold, build.cavity, build.coat)
            spare = 4 if build.mold == "guard-jig" else 6
            wanted = max(0, build.keep_ready + spare - self.finished[build.name] - self.coated[key])
            count = min(self.heads[build.mold, build.cavity], wanted)
            if count < 3:
                continue
            cure_f, minutes = rng.choice((365, 375, 375, 385, 400)), rng.choice((18, 20, 20, 25))
            rejects, flaw, note = self._coat_flaws(build, count)
            if (day, build.name) == UNDERCURED:
                minutes, rejects, flaw, note = 8, 5, "soft coat", "power cut, pulled them early"
            if (day, build.name) == OVER_HOT:
                cure_f, rejects, flaw, note = 450, 2, "other", "oven crept up; color gone brown"
            self.heads[build.mold, build.cavity] -= count
            self.heads[build.mold, build.cavity] += rejects
            self.coated[key] += count - rejects
            self.stock[build.coat] -= count * build.coat_g * (1 + rng.gauss(0, 0.03))
            cells = {
                "date": day,
                "mold": build.mold,
                "cavity": build.cavity,
                "coat": build.coat,
                "count": str(count),
                "part_temp": f"{rng.choice((300, 310, 320, 330))} F" if rng.random() < 0.6 else "",
                "cure_temp": f"{cure_f} F" if rng.random() < 0.5 else str(cure_f),
                "cure_time": f"{minutes} min" if rng.random() < 0.6 else str(minutes),
                "rejects": str(rejects) if rejects else rng.choice(("", "0")),
                "flaw": flaw,
                "note": note,
            }
            self.finishing.append(Row(cells))

    def _coat_flaws(self, build: Build, count: int) -> tuple[int, str, str]:
        rng = self.rng_stock
        if build.mold == "guard-jig" and rng.random() < 0.7:
            return (
                rng.randint(1, min(3, count - 1)),
                "blocked guard hole",
                "stripped as the data sheet says, to coat again",
            )
        if rng.random() < 0.4:
            return rng.randint(1, 2), rng.choice(("bare spot", "sag")), ""
        return 0, "", ""

    def _soften(self, day: str) -> None:
        """The tin-bismuth heads that went into the oven: powder gone, heads slumped, metal melted again."""
        count = 6
        self.heads["pea-jig", "1/16"] -= count
        self.stock["chartreuse"] -= count * 0.09
        self.stock["tin-bismuth"] += count * 1.35
        cells = {"date": day, "mold": "pea-jig", "cavity": "1/16", "coat": "chartreuse", "count": str(count)}
        cells |= {"part_temp": "250 F", "cure_temp": "350 F", "cure_time": "20 min", "rejects": str(count)}
        self.finishing.append(
            Row({**cells, "flaw": "other", "note": "all six slumped off their hooks, of course"})
        )
        self.move(
            day, "tin-bismuth", "recovered", f"{round(count * 1.35)} g", note="slumped heads melted again"
        )

    def dress(self, day: str) -> None:
        used: dict[str, int] = {}
        into: defaultdict[str, list[str]] = defaultdict(list)
        done = 0
        for build in BUILDS.values():
            key = (build.mold, build.cavity, build.coat or "")
            ready = self.coated[key] if build.coat else self.heads[build.mold, build.cavity]
            count = min(max(0, build.keep_ready - self.finished[build.name]), ready)
            if build.trailer:
                count = min(count, self.trailers)
            for item, each in build.fittings:
                count = min(count, int(self.stock[item] - used.get(item, 0)) // each)
            if count <= 0:
                continue
            if build.coat:
                self.coated[key] -= count
            else:
                self.heads[build.mold, build.cavity] -= count
            self.trailers -= count if build.trailer else 0
            self.finished[build.name] += count
            self.dressed[build.name] += count
            done += 1
            for item, each in build.fittings:
                used[item] = used.get(item, 0) + each * count
                into[item].append(f"{count} {build.name}")
        for item, amount in used.items():
            self.stock[item] -= amount
            self.move(day, item, "used", str(amount), note="dressed " + ", ".join(into[item]))
        if used:
            grams = 1.0 if done < 5 else 2.0
            self.stock["glue"] -= grams
            self.move(day, "glue", "used", f"{grams:.0f} g")

    # --- the month's end -----------------------------------------------------

    def melt_torn_grubs(self, day: str) -> None:
        """Melt chewed plastic from the water again; the hooks of rejects are lost and need no row."""
        if self.torn:
            grams = round(self.torn * 1.0)
            self.stock["plastic-chartreuse"] += grams
            self.move(day, "plastic-chartreuse", "recovered", f"{grams} g", note="chewed grubs from the box")
            self.torn = 0

    def count(self, day: str) -> None:
        for item in OPENING:
            step = RESOLUTION.get(item)
            if step is None:
                amount = f"{round(self.stock[item])}"
            else:
                shown = step * round(self.stock[item] / step)
                amount = f"{shown:.0f} g"
                # Ordinary months are meant to close: what truly lies there is never far from the reading.
                self.stock[item] += 0.7 * (shown - self.stock[item])
            odd = item == "alloy" and day == "2026-08-31"
            note = "kitchen scale, the good one was away" if odd else ""
            self.move(day, item, "counted", amount, u="4 g" if odd else "", note=note)


def run(bench: Bench, fish: Callable[[str], None]) -> None:
    """Walk through the season day by day; `fish` is told each day and takes from `bench.finished`."""
    first, last = date(2026, 3, 1), date(2026, 10, 31)
    for number in range(first.toordinal(), last.toordinal() + 1):
        day = date.fromordinal(number).isoformat()
        for bought, item, text, amount, cost, move, note in BOUGHT:
            if bought == day:
                bench.stock[item] += amount
                bench.move(day, item, move, text, cost, note)
        for left, item, move, text, amount, note in LEFT:
            if left == day:
                bench.stock[item] -= amount
                bench.move(day, item, move, text, note=note)
        if day == standing.MISSING_ALLOY_DATE:
            bench.stock["alloy"] -= standing.MISSING_ALLOY_G
        if day == standing.UNLOGGED_HOOKS_DATE:
            bench.stock[standing.UNLOGGED_HOOKS_ITEM] += standing.UNLOGGED_HOOKS
        for plan in SESSIONS:
            if plan.date == day:
                bench.pour(plan)
        if day in COATING_DAYS:
            bench.coat(day)
        if day in DRESSING_DAYS:
            bench.dress(day)
        fish(day)
        if date.fromordinal(number + 1).isoformat() in COUNT_DAYS:
            bench.melt_torn_grubs(day)
        if day in COUNT_DAYS:
            bench.count(day)
        short = {item: amount for item, amount in bench.stock.items() if amount < 0}
        if short or min(bench.heads.values(), default=0) < 0:
            raise ValueError(f"{day}: the story uses more than there is: {short} {dict(bench.heads)}")
