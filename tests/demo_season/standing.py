"""The standing facts of the invented Alder Flat bench: its bench.toml and the numbers built in."""

import math
from dataclasses import dataclass

SEED = "alder-flat-2026-861"
OUNCE_G = 28.349523125
POUND_G = 453.59237
FLUID_OUNCE_ML = 29.5735295625
PLASTIC_DENSITY = 1.08
AIR_C = 18.0

# What happened to the stock without a row.
MISSING_ALLOY_DATE = "2026-06-21"
MISSING_ALLOY_G = 1.1 * POUND_G
UNLOGGED_HOOKS_DATE = "2026-09-10"
UNLOGGED_HOOKS_ITEM = "hook-4"
UNLOGGED_HOOKS = 50

# Shares of flawed castings in lead alloy, as logistic curves of the mold temperature.
COLD_HALF_C = 123.4
COLD_SLOPE = 0.086
HOT_ONE_IN_TWELVE_C = 204.4
HOT_SLOPE = 0.080
HOT_LOGIT_THERE = math.log(0.08 / 0.92)
COLD_SHUT_SHARE = 0.2
FILL_SD = 0.35
PLAIN_FLAWS = {"porosity": 0.010, "misset insert": 0.016, "other": 0.004}
TARGET_REJECT_RATE = 0.10

# Ends of baits, per hour in use.
BITE_OFF_WEEDS_BARE = 0.26
BITE_OFF_ELSEWHERE_BARE = 0.05
LEADER_RATIO = 5.0
SNAG_TIMBER = 0.13
SNAG_ELSEWHERE = 0.015
BREAK_OFF = 0.010
TORN = 0.055
BENT_HOOK = 0.012
CHIPPED = 0.018

BEST_BUILD = "perch-grub"


@dataclass(frozen=True)
class Cavity:
    """One kind of cavity: what it weighs, what goes in, how it differs from its neighbours."""

    name: str
    mass_g: float
    true_ratio: float
    insert: str | None
    per_fill: int
    cold_shift: float = 0.0
    misset_factor: float = 1.0


@dataclass(frozen=True)
class Mold:
    """One mold with the heat balance it truly follows."""

    name: str
    material: str
    cavities: tuple[Cavity, ...]
    heat_capacity: float = 0.0
    loss: float = 0.0
    sprue_factor: float = 1.6


@dataclass(frozen=True)
class Build:
    """A finished bait's recipe, and how well it truly fishes (fish per hour on an ordinary day)."""

    name: str
    mold: str
    cavity: str
    coat: str | None
    coat_g: float
    fittings: tuple[tuple[str, int], ...]
    trailer: bool
    rate: float
    keep_ready: int


MOLDS = {
    mold.name: mold
    for mold in (
        Mold(
            "round-jig",
            "alloy",
            (
                Cavity("1/16", OUNCE_G / 16, 1.004, "hook-6", 2, cold_shift=1.1, misset_factor=2.0),
                Cavity("1/8", OUNCE_G / 8, 0.998, "hook-4", 2),
                Cavity("1/4", OUNCE_G / 4, 1.002, "hook-2", 1, cold_shift=-0.3),
            ),
            heat_capacity=0.25 * 900,
            loss=0.16,
        ),
        Mold(
            "guard-jig",
            "alloy",
            (
                Cavity("1/8", OUNCE_G / 8, 1.001, "hook-4", 1),
                Cavity("1/4", OUNCE_G / 4, 0.999, "hook-2", 1, cold_shift=-0.2),
            ),
            heat_capacity=0.18 * 900,
            loss=0.12,
        ),
        Mold("pea-jig", "tin-bismuth", (Cavity("1/16", 1.35, 1.003, "hook-6", 2),)),
        Mold("two-inch-grub", "plastic-pearl", (Cavity("grub", 1.2, 1.0, None, 4),)),
    )
}

BUILDS = {
    build.name: build
    for build in (
        Build("perch-grub", "round-jig", "1/8", "chartreuse", 0.15, (("eye-3mm", 2),), True, 1.9, 13),
        Build("crappie-grub", "round-jig", "1/16", "pearl", 0.10, (), True, 0.85, 10),
        Build("pond-guard", "guard-jig", "1/8", "chartreuse", 0.15, (("guard", 1),), True, 0.75, 9),
        Build(
            "pickerel-guard",
            "guard-jig",
            "1/4",
            "pearl",
            0.22,
            (("guard", 1), ("rattle", 1), ("skirt-olive", 1)),
            False,
            0.60,
            7,
        ),
        Build(
            "reach-skirt",
            "round-jig",
            "1/4",
            "pearl",
            0.22,
            (("eye-3mm", 2), ("skirt-black", 1)),
            False,
            0.70,
            7,
        ),
        Build("reach-bare", "round-jig", "1/4", None, 0.0, (), True, 0.65, 6),
        Build("pea-bare", "pea-jig", "1/16", None, 0.0, (), True, 0.75, 5),
    )
}

HOOK_MASS_G = {"hook-6": 0.18, "hook-4": 0.28, "hook-2": 0.42}

BENCH_TOML = """\
# The Alder Flat bench: an invented workshop of two invented people.

[bench]
name = "Alder Flat bench"
currency = "USD"
units = "us"
paper = "letter"
season = { start = "03-01" }

[defaults]                     # unit of a bare number, per column
mold_temp = "degF"
melt_temp = "degF"
part_temp = "degF"
cure_temp = "degF"
cure_time = "min"
mass = "g"
fished = "h"
length = "in"

[plan]
service_level = 0.90
target_reject_rate = 0.10

# --- metal ---------------------------------------------------------------

[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "5 g" }
melts = "247 degC"
price = 5.20
pack = "1 lb"
lead_time = "7 d"

[items.tin-bismuth]
kind = "metal"
unit = "g"
scale = { resolution = "1 g" }
melts = "138 degC"
price = 19.00
pack = "1 lb"
lead_time = "14 d"

# --- hooks; castings are weighed with the hook in, so its mass is stated ---

[items."hook-6"]
kind = "insert"
pack = 50
price = 8.50
mass = "0.18 g"
lead_time = "10 d"

[items."hook-4"]
kind = "insert"
pack = 50
price = 9.50
mass = "0.28 g"
lead_time = "10 d"

[items."hook-2"]
kind = "insert"
pack = 50
price = 11.00
mass = "0.42 g"
lead_time = "10 d"

# --- powder coats ----------------------------------------------------------

[items.chartreuse]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
price = 9.75
pack = "4 oz"
cure = { min_temp = "350 degF", max_temp = "410 degF", min_time = "15 min", max_time = "30 min" }
lead_time = "10 d"

[items.pearl]
kind = "coat"
unit = "g"
scale = { resolution = "1 g" }
price = 10.50
pack = "4 oz"
cure = { min_temp = "350 degF", max_temp = "410 degF", min_time = "15 min", max_time = "30 min" }
lead_time = "10 d"

# --- soft plastic, sold by volume, weighed on the bench ----------------------

[items.plastic-pearl]
kind = "plastic"
unit = "g"
scale = { resolution = "1 g" }
density = "1.08 g/mL"
price = 8.00
pack = "8 fl oz"
lead_time = "10 d"

[items.plastic-chartreuse]
kind = "plastic"
unit = "g"
scale = { resolution = "1 g" }
density = "1.08 g/mL"
price = 8.00
pack = "8 fl oz"
lead_time = "10 d"

# --- fittings ----------------------------------------------------------------

[items.skirt-black]
kind = "fitting"
pack = 25
price = 7.25
lead_time = "10 d"

[items.skirt-olive]
kind = "fitting"
pack = 25
price = 7.25
lead_time = "10 d"

[items.eye-3mm]
kind = "fitting"
pack = 100
price = 4.80
lead_time = "10 d"

[items.rattle]
kind = "fitting"
pack = 25
price = 5.60
lead_time = "10 d"

[items.guard]
kind = "fitting"
pack = 25
price = 6.40
lead_time = "10 d"

[items.glue]
kind = "fitting"
unit = "g"
scale = { resolution = "1 g" }
price = 6.90
pack = "20 g"
lead_time = "3 d"

# --- molds -------------------------------------------------------------------

[molds.round-jig]
material = "alloy"
metal_mass = "0.55 lb"
price = 42.00
[[molds.round-jig.cavities]]
name = "1/16"
mass = "1/16 oz"
tolerance = "5 %"
insert = "hook-6"
per_fill = 2
[[molds.round-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
tolerance = "5 %"
insert = "hook-4"
per_fill = 2
[[molds.round-jig.cavities]]
name = "1/4"
mass = "1/4 oz"
tolerance = "5 %"
insert = "hook-2"
per_fill = 1

[molds.guard-jig]              # the same round head with a pin for the guard hole
material = "alloy"
metal_mass = "0.4 lb"
price = 48.00
[[molds.guard-jig.cavities]]
name = "1/8"
mass = "1/8 oz"
tolerance = "5 %"
insert = "hook-4"
per_fill = 1
[[molds.guard-jig.cavities]]
name = "1/4"
mass = "1/4 oz"
tolerance = "5 %"
insert = "hook-2"
per_fill = 1

[molds.pea-jig]
material = "tin-bismuth"
metal_mass = "0.2 lb"
price = 28.00
[[molds.pea-jig.cavities]]
name = "1/16"
mass = "1.35 g"
tolerance = "6 %"
insert = "hook-6"
per_fill = 2

[molds.two-inch-grub]
material = "plastic-pearl"
metal_mass = "1.1 lb"
price = 36.00
[[molds.two-inch-grub.cavities]]
name = "grub"
mass = "1.2 g"
tolerance = "8 %"
per_fill = 4

# --- builds ------------------------------------------------------------------

[builds.perch-grub]
head = { mold = "round-jig", cavity = "1/8" }
coat = { item = "chartreuse", mass = "0.15 g" }
fittings = { eye-3mm = 2 }
trailer = { mold = "two-inch-grub", cavity = "grub" }
bought_price = 2.49
planned_hours = 10

[builds.crappie-grub]
head = { mold = "round-jig", cavity = "1/16" }
coat = { item = "pearl", mass = "0.10 g" }
trailer = { mold = "two-inch-grub", cavity = "grub" }
bought_price = 1.99
planned_hours = 8

[builds.pond-guard]
head = { mold = "guard-jig", cavity = "1/8" }
coat = { item = "chartreuse", mass = "0.15 g" }
fittings = { guard = 1 }
trailer = { mold = "two-inch-grub", cavity = "grub" }
bought_price = 2.99
planned_hours = 9

[builds.pickerel-guard]
head = { mold = "guard-jig", cavity = "1/4" }
coat = { item = "pearl", mass = "0.22 g" }
fittings = { guard = 1, rattle = 1, skirt-olive = 1 }
bought_price = 3.79
planned_hours = 8

[builds.reach-skirt]
head = { mold = "round-jig", cavity = "1/4" }
coat = { item = "pearl", mass = "0.22 g" }
fittings = { eye-3mm = 2, skirt-black = 1 }
bought_price = 3.29
planned_hours = 3

[builds.reach-bare]
head = { mold = "round-jig", cavity = "1/4" }
trailer = { mold = "two-inch-grub", cavity = "grub" }
bought_price = 1.79
planned_hours = 2

[builds.pea-bare]
head = { mold = "pea-jig", cavity = "1/16" }
trailer = { mold = "two-inch-grub", cavity = "grub" }
bought_price = 1.89
planned_hours = 1

[builds.night-guard]           # the next one: none made yet
head = { mold = "guard-jig", cavity = "1/8" }
coat = { item = "pearl", mass = "0.15 g" }
fittings = { guard = 1, skirt-black = 1 }
bought_price = 3.09
planned_hours = 8

[builds.pea-bright]            # wished for; this head would soften in the oven
head = { mold = "pea-jig", cavity = "1/16" }
coat = { item = "chartreuse", mass = "0.09 g" }
trailer = { mold = "two-inch-grub", cavity = "grub" }
bought_price = 2.19
planned_hours = 1
"""
