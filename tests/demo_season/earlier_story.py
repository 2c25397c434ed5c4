"""The two seasons before the demo's own, kept as a tally: no thermometer, no leaders, one mold for heads.

Every good casting becomes a bait, and every bait is lost, worn or sold by the end of its season. Stock is
counted at both ends of a season; the last count is what the season after opens with.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from random import Random

from demo_season.bench_story import OPENING, RESOLUTION
from demo_season.dialects import Row
from demo_season.standing import BUILDS, MOLDS, POUND_G
from demo_season.water_story import ANGLERS, CATCH, HABITATS, hazards_of, hours_text, poisson, weighted

BAD = {2024: 0.45, 2025: 0.38}
FILLS, BAD_GRUBS, TRIPS_A_MONTH = 4, 1.5, 2
MONTHS = range(3, 11)
BUILT = ("perch-grub", "crappie-grub", "reach-skirt")
WATERS = ("Alder Flat pond", "Mill reach")
# At the first price of the season after, so that what is left of them moves none of its averages.
PACKS = {
    "alloy": (5 * POUND_G, "5 lb", "26.00"),
    "hook-6": (50.0, "50", "8.50"),
    "hook-4": (50.0, "50", "9.50"),
    "hook-2": (50.0, "50", "11.00"),
    "eye-3mm": (100.0, "100", "4.80"),
    "plastic-pearl": (8 * 31.939412, "8 fl oz", "8.00"),
    "skirt-black": (25.0, "25", "7.25"),
}


@dataclass
class Earlier:
    """The logs of both seasons, and what was drawn in each."""

    rng: Random
    pours: list[Row] = field(default_factory=list)
    stock: list[Row] = field(default_factory=list)
    coating: list[Row] = field(default_factory=list)
    baits: list[Row] = field(default_factory=list)
    fish: list[Row] = field(default_factory=list)
    left: defaultdict[str, int] = field(default_factory=lambda: defaultdict(int))
    used: defaultdict[tuple[int, str], float] = field(default_factory=lambda: defaultdict(float))
    drawn: defaultdict[int, defaultdict[str, float]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(float))
    )

    def tell(self) -> None:
        """Pour, fish and sell through both seasons, then keep their books."""
        for year in BAD:
            for month in MONTHS:
                self._make(year, month)
                for number in range(TRIPS_A_MONTH):
                    self._trip(year, month, number)
            for name in BUILT:
                self._move(
                    f"{year}-10-30", name, "sold", str(self.left.pop(name)), note="swap day at the hall"
                )
        self._keep_books()

    def _move(self, day: str, item: str, move: str, amount: str, cost: str = "", note: str = "") -> None:
        cells = {"date": day, "item": item, "move": move, "amount": amount, "cost": cost, "note": note}
        self.stock.append(Row(cells))

    def _make(self, year: int, month: int) -> None:
        rng, day = self.rng, f"{year}-{month:02d}"
        for build in (BUILDS[name] for name in BUILT):
            cavity = next(each for each in MOLDS[build.mold].cavities if each.name == build.cavity)
            count = FILLS * cavity.per_fill
            bad = sum(rng.random() < BAD[year] for _ in range(count))
            good = count - bad
            self._pour(f"{day}-03", build.mold, build.cavity, good, bad)
            self.drawn[year]["castings"] += count
            self.drawn[year]["rejects"] += bad
            self.left[build.name] += good
            self.used[year, "alloy"] += good * cavity.mass_g
            self.used[year, cavity.insert or ""] += count
            if not good:
                continue
            coated = {
                "date": f"{day}-05",
                "mold": build.mold,
                "cavity": build.cavity,
                "coat": build.coat or "",
            }
            self.coating.append(Row({**coated, "count": str(good), "rejects": "0"}))
            self.used[year, build.coat or ""] += good * build.coat_g
            for item, each in build.fittings:
                self._move(f"{day}-07", item, "used", str(each * good), note=f"dressed {good} {build.name}")
                self.used[year, item] += each * good
            if build.trailer:
                bad_grubs = poisson(rng, BAD_GRUBS)
                self._pour(f"{day}-06", "two-inch-grub", "grub", good, bad_grubs)
                self.drawn[year]["castings"] += good + bad_grubs
                self.drawn[year]["rejects"] += bad_grubs
                self.used[year, "plastic-pearl"] += good * MOLDS["two-inch-grub"].cavities[0].mass_g

    def _pour(self, day: str, mold: str, cavity: str, good: int, bad: int) -> None:
        row = {"date": day, "mold": mold, "cavity": cavity}
        for outcome, count, flaw in (("good", good, ""), ("reject", bad, "short fill")):
            if count:
                self.pours.append(Row({**row, "outcome": outcome, "count": str(count), "flaw": flaw}))

    def _trip(self, year: int, month: int, number: int) -> None:
        rng = self.rng
        water = WATERS[(month + number) % 2]
        name = f"{year % 100}-{TRIPS_A_MONTH * (month - 3) + number + 1}"
        trip = {"date": f"{year}-{month:02d}-{12 + 11 * number:02d}", "trip": name, "water": water}
        mood = rng.gammavariate(4, 0.25)
        for place, build in enumerate(BUILT):
            at = rng.random()
            habitat = next(tags for tags, upto in HABITATS[water] if at < upto)
            row = {**trip, "build": build, "angler": ANGLERS[place % 2], "habitat": habitat, "leader": "no"}
            meant, fished = 0.25 * rng.randint(4, 9), 0.0
            while meant - fished > 0.1 and self.left[build]:
                fished += self._stretch(year, row, meant - fished)
            self.drawn[year]["hours"] += fished
            caught: defaultdict[str, int] = defaultdict(int)
            for _ in range(poisson(rng, BUILDS[build].rate * fished * mood)):
                caught[weighted(rng, CATCH[water])] += 1
            for species, count in caught.items():
                self.fish.append(Row({**row, "species": species, "count": str(count)}))
                self.drawn[year]["fish"] += count

    def _stretch(self, year: int, row: dict[str, str], meant: float) -> float:
        """One bait on one line until it is put away, lost or worn out; returns the hours it took."""
        rng = self.rng
        hazards = hazards_of(BUILDS[row["build"]], row["habitat"], with_leader=False)
        end = rng.expovariate(sum(hazards.values()))
        fished = max(1, round(min(end, meant) * 12)) / 12
        cells = {**row, "fished": hours_text(rng, fished), "fate": "kept"}
        if end < meant:
            cause = weighted(rng, hazards)
            worn = cause in ("torn", "bent hook", "chipped")
            cells |= {"fate": "worn" if worn else "lost", "cause": cause}
            self.left[row["build"]] -= 1
            self.drawn[year][cause] += 1
        self.baits.append(Row(cells))
        return fished

    def _keep_books(self) -> None:
        closing = dict(OPENING)
        for year in reversed(BAD):
            opening = {}
            for item, close in closing.items():
                used, bought = self.used[year, item], 0.0
                if item in PACKS:
                    pack, text, cost = PACKS[item]
                    for number in range(int(used // pack)):
                        self._move(f"{year}-{4 + 2 * number:02d}-02", item, "received", text, cost)
                        bought += pack
                opening[item] = close + used - bought
            for day, amounts in ((f"{year}-03-01", opening), (f"{year}-10-31", closing)):
                for item, amount in amounts.items():
                    step = RESOLUTION.get(item)
                    shown = f"{step * round(amount / step):.0f} g" if step else f"{round(amount)}"
                    self._move(day, item, "counted", shown)
            closing = opening
        self.stock.sort(key=lambda row: row.cells["date"])
