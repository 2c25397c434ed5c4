"""The water half of the story: which bait swam where, how it ended, what it caught."""

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random

from demo_season import standing
from demo_season.bench_story import Bench
from demo_season.dialects import Row
from demo_season.standing import BUILDS, OUNCE_G, Build

TRIPS = (
    *("2026-03-22", "2026-03-29", "2026-04-05", "2026-04-12", "2026-04-19", "2026-04-26", "2026-05-03"),
    *("2026-05-10", "2026-05-13", "2026-05-17", "2026-05-24", "2026-05-29", "2026-06-05", "2026-06-07"),
    *("2026-06-14", "2026-06-17", "2026-06-21", "2026-06-28", "2026-07-05", "2026-07-12", "2026-07-16"),
    *("2026-07-19", "2026-07-26", "2026-08-02", "2026-08-09", "2026-08-16", "2026-08-23", "2026-09-06"),
    *("2026-09-13", "2026-09-16", "2026-09-20", "2026-09-27", "2026-10-04", "2026-10-11", "2026-10-18"),
)
ZERO_TRIPS = ("2026-03-22", "2026-05-13", "2026-07-16", "2026-08-16", "2026-10-18")
ROUND = ("Alder Flat pond", "Mill reach", "Alder Flat pond", "Quarry arm", "Mill reach")
ANGLERS = ("Orrin", "Tamsin")
HABITATS = {
    "Alder Flat pond": (("weeds; shallow", 0.8), ("open; deep", 1.0)),
    "Mill reach": (("timber; current", 0.7), ("gravel; current", 1.0)),
    "Quarry arm": (("rock; deep", 0.6), ("open; deep", 1.0)),
}
BAIT_CHOICE = {
    "Alder Flat pond": {
        "perch-grub": 26,
        "crappie-grub": 16,
        "pond-guard": 34,
        "pickerel-guard": 28,
        "reach-bare": 4,
        "pea-bare": 6,
    },
    "Mill reach": {
        "perch-grub": 24,
        "crappie-grub": 14,
        "pond-guard": 10,
        "pickerel-guard": 10,
        "reach-skirt": 24,
        "reach-bare": 18,
    },
    "Quarry arm": {
        "perch-grub": 30,
        "crappie-grub": 22,
        "pond-guard": 12,
        "pickerel-guard": 12,
        "reach-skirt": 14,
        "reach-bare": 10,
        "pea-bare": 10,
    },
}
CATCH = {
    "Alder Flat pond": {"yellow perch": 48, "black crappie": 32, "chain pickerel": 20},
    "Mill reach": {"white bass": 55, "black crappie": 25, "yellow perch": 15, "chain pickerel": 5},
    "Quarry arm": {"yellow perch": 55, "white bass": 30, "black crappie": 15},
}


@dataclass(frozen=True)
class Species:
    """Length of what bites (inches, normal), its standard weight (mm, g) and its mean relative weight."""

    mean_in: float
    sd_in: float
    least_in: float
    a: float
    b: float
    wr: float


SPECIES = {
    "yellow perch": Species(8.4, 1.5, 5.0, -5.386, 3.230, 93.0),
    "black crappie": Species(9.3, 1.5, 5.5, -5.618, 3.345, 98.0),
    "white bass": Species(11.6, 1.9, 7.0, -5.066, 3.081, 95.0),
    "chain pickerel": Species(17.2, 2.8, 10.5, -5.824, 3.243, 90.0),
}
TOO_SHORT = {
    "2026-05-10": ("yellow perch", "3.5", ""),
    "2026-06-14": ("yellow perch", "3.75", "0.3"),
    "2026-09-06": ("black crappie", "3.75", ""),
}


def hours_text(rng: Random, hours: float) -> str:
    """The same stretch of time as different evenings write it down; `hours` is in whole five minutes."""
    minutes = round(hours * 60)
    whole, rest = divmod(minutes, 60)
    pick = rng.random()
    if pick < 0.35 and minutes % 15 == 0:
        return f"{minutes / 60:g}h"
    if pick < 0.45 and minutes % 15 == 0:
        return f"{minutes / 60:g}"
    if pick < 0.75:
        return f"{minutes} min"
    return f"{whole}:{rest:02d}"


def weighted(rng: Random, weights: Mapping[str, float]) -> str:
    at = rng.random() * sum(weights.values())
    for name, weight in weights.items():
        at -= weight
        if at < 0:
            return name
    return list(weights)[-1]


def poisson(rng: Random, mean: float) -> int:
    count, left = -1, 1.0
    limit = math.exp(-mean)
    while left >= limit:
        left *= rng.random()
        count += 1
    return count


def hazards_of(build: Build, habitat: str, *, with_leader: bool) -> dict[str, float]:
    """What ends a bait there, by cause, per hour in use."""
    weeds, timber = "weeds" in habitat, "timber" in habitat
    bite = standing.BITE_OFF_WEEDS_BARE if weeds else standing.BITE_OFF_ELSEWHERE_BARE
    return {
        "bite off": bite / (standing.LEADER_RATIO if with_leader else 1.0),
        "snag": standing.SNAG_TIMBER if timber else standing.SNAG_ELSEWHERE,
        "break off": standing.BREAK_OFF,
        "torn": standing.TORN,
        "bent hook": standing.BENT_HOOK,
        "chipped": standing.CHIPPED if build.coat else 0.0,
    }


@dataclass
class Tagged:
    """A bait with a tag of its own."""

    tag: str
    build: str


@dataclass
class Water:
    """Both fishing logs and what they add up to."""

    rng: Random
    rng_fish: Random
    bench: Bench
    baits: list[Row] = field(default_factory=list)
    fish: list[Row] = field(default_factory=list)
    tagged: list[Tagged] = field(default_factory=list)
    tags: defaultdict[str, int] = field(default_factory=lambda: defaultdict(int))
    hours: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))
    bite_offs: defaultdict[str, int] = field(default_factory=lambda: defaultdict(int))
    build_hours: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))
    build_fish: defaultdict[str, int] = field(default_factory=lambda: defaultdict(int))

    def day(self, day: str) -> None:
        """Fish, if that day was a trip."""
        if day not in TRIPS:
            return
        number = TRIPS.index(day)
        water = ROUND[number % len(ROUND)]
        mood = 0.0 if day in ZERO_TRIPS else self.rng_fish.gammavariate(4, 0.25)
        weather = self.rng.choice(("overcast", "sun", "wind from the west", "drizzle", ""))
        alone = number % 8 == 5
        in_use: set[str] = set()
        for who, angler in enumerate(ANGLERS):
            if alone and who != number % 2:
                continue
            with_leader = (number + who) % 2 == 0
            left = 0.25 * self.rng.randint(15, 20)
            while left >= 0.4:
                left -= self._stretch(day, number, water, angler, with_leader, left, mood, weather, in_use)
        if day in TOO_SHORT:
            self._tiny(day, self.baits[-1].cells)

    def _stretch(
        self,
        day: str,
        number: int,
        water: str,
        angler: str,
        with_leader: bool,
        left: float,
        mood: float,
        weather: str,
        in_use: set[str],
    ) -> float:
        """One bait on one line until it is changed, lost or worn out; returns the hours it took."""
        rng = self.rng
        at = rng.random()
        habitat = next(tags for tags, upto in HABITATS[water] if at < upto)
        build, tag = self._pick(water, in_use)
        meant = min(left, 0.25 * rng.randint(3, 10))
        if left - meant < 0.4:
            meant = left
        hazards = hazards_of(BUILDS[build], habitat, with_leader=with_leader)
        end = rng.expovariate(sum(hazards.values()))
        fished = max(1, round(min(end, meant) * 12)) / 12
        fate, cause = "kept", ""
        if end < meant:
            cause = weighted(rng, hazards)
            fate = "worn" if cause in ("torn", "bent hook", "chipped") else "lost"
        self.build_hours[build] += fished
        self._put_back(build, tag, fate, cause)
        pair = fate == "kept" and not tag and self.bench.finished[build] >= 2 and rng.random() < 0.05
        leader = rng.choice(("yes", "wire", "wire", "fluoro")) if with_leader else "no"
        if rng.random() < 0.02:
            leader = ""
        group = {"": "not recorded", "no": "no leader"}.get(leader, "leader")
        self.hours[group] += fished
        self.bite_offs[group] += cause == "bite off"
        cells = {
            "date": day,
            "build": build,
            "fished": hours_text(rng, fished),
            "fate": fate,
            "count": "2" if pair else ("1" if rng.random() < 0.5 else ""),
            "bait": tag,
            "cause": cause,
            "water": water,
            "angler": angler,
            "trip": str(number + 1),
            "habitat": habitat,
            "leader": leader,
            "casts": str(round(fished * rng.uniform(35, 60))) if rng.random() < 0.3 else "",
            "weather": weather,
            "note": self._remark(cause),
        }
        if pair:
            self.hours[group] += fished
            self.build_hours[build] += fished
        self.baits.append(Row(cells))
        self._catch(cells, fished * (2 if pair else 1), mood)
        return fished

    def _pick(self, water: str, in_use: set[str]) -> tuple[str, str]:
        choice = {
            build: weight for build, weight in BAIT_CHOICE[water].items() if self.bench.finished[build] > 0
        }
        box = [bait for bait in self.tagged if bait.tag not in in_use and bait.build in BAIT_CHOICE[water]]
        if box and self.rng.random() < 0.40:
            wanted = weighted(self.rng, {bait.build: BAIT_CHOICE[water][bait.build] for bait in box})
            bait = self.rng.choice([bait for bait in box if bait.build == wanted])
            in_use.add(bait.tag)
            return bait.build, bait.tag
        build = weighted(self.rng, choice)
        self.bench.finished[build] -= 1
        if self.rng.random() < 0.20:
            self.tags[build] += 1
            initials = "".join(word[0] for word in build.split("-")).upper()
            bait = Tagged(
                f"{initials if initials != 'PG' else build[:2].upper()}-{self.tags[build]:02d}", build
            )
            self.tagged.append(bait)
            in_use.add(bait.tag)
            return build, bait.tag
        return build, ""

    def _put_back(self, build: str, tag: str, fate: str, cause: str) -> None:
        if fate == "kept" and not tag:
            self.bench.finished[build] += 1
        if fate != "kept" and tag:
            self.tagged = [bait for bait in self.tagged if bait.tag != tag]
        if cause == "torn" and BUILDS[build].trailer:
            self.bench.torn += 1

    def _remark(self, cause: str) -> str:
        remarks = {
            "bite off": ("clean cut, teeth", "one tug, then nothing", 'pickerel, "as long as the oar"'),
            "snag": ("sunk log by the bend", "tried both sides, then cut"),
            "torn": ("tail gone", "half the grub gone"),
        }
        if cause in remarks and self.rng.random() < 0.4:
            return self.rng.choice(remarks[cause])
        return ""

    # --- fish ------------------------------------------------------------------

    def _catch(self, bait: dict[str, str], hours: float, mood: float) -> None:
        rng = self.rng_fish
        caught = poisson(rng, BUILDS[bait["build"]].rate * hours * mood)
        self.build_fish[bait["build"]] += caught
        shared = {key: bait[key] for key in ("date", "build", "bait", "water", "angler", "trip", "habitat")}
        while caught > 0:
            name = weighted(rng, CATCH[bait["water"]])
            row = {**shared, "species": name, "released": "yes" if rng.random() < 0.8 else "no"}
            if caught >= 3 and name == "yellow perch" and rng.random() < 0.35:
                self.fish.append(
                    Row({**row, "count": "3", "released": "yes", "note": "small ones, not measured"})
                )
                caught -= 3
                continue
            self.fish.append(Row({**row, **self._measure(SPECIES[name], name)}))
            caught -= 1

    def _tiny(self, day: str, bait: dict[str, str]) -> None:
        """A fish too short for its standard weight equation."""
        name, length, mass = TOO_SHORT[day]
        row = {key: bait[key] for key in ("date", "build", "bait", "water", "angler", "trip", "habitat")}
        row |= {"species": name, "length": length, "mass": mass, "released": "yes", "note": "tiny"}
        self.fish.append(Row(row))
        self.build_fish[bait["build"]] += 1

    def _measure(self, species: Species, name: str) -> dict[str, str]:
        rng = self.rng_fish
        length_in = max(species.least_in, rng.gauss(species.mean_in, species.sd_in))
        shown = round(length_in * 4) / 4
        weighed = rng.random() < 0.45
        wr = min(107.0, max(82.0, rng.gauss(species.wr, 5.0)))
        standard_g = 10 ** (species.a + species.b * math.log10(shown * 25.4))
        ounces = standard_g * wr / 100 / OUNCE_G
        cells: dict[str, str] = {}
        pick = rng.random()
        if pick < 0.06:
            return cells
        whole, quarters = divmod(round(shown * 4), 4)
        if pick < 0.20 and quarters:
            cells["length"] = f"{whole} {('', '1/4', '1/2', '3/4')[quarters]} in"
        elif pick < 0.24:
            cells["length"] = f"{round(shown * 25.4)} mm"
        else:
            cells["length"] = f"{shown:g}"
        if weighed:
            pounds, rest = divmod(round(ounces), 16)
            if name == "chain pickerel" and pounds and rest:
                cells["mass"] = f"{pounds} lb {rest} oz"
            else:
                cells["mass"] = f"{ounces:.1f}"
        return cells
