"""The logs of the demo as quantities in canonical units; what does not parse is dropped."""

import re
import sys
import tomllib
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

FOLDER, MONTH, PDF, CHROMIUM = Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]).resolve(), sys.argv[4]
BENCH = tomllib.loads((FOLDER / "bench.toml").read_text())
GRAMS = {"": 1.0, "g": 1.0, "oz": 28.349523125, "lb": 453.59237}
Z = norm.ppf(0.975)
START = pd.Timestamp(f"{MONTH}-01")
END = START + pd.offsets.MonthBegin()
SEASON = pd.Timestamp(f"{MONTH[:4]}-{BENCH['bench']['season']['start']}")
SPANS = {"month": (START, END), "season": (SEASON, END)}
GOAL = BENCH["plan"]["target_reject_rate"]
warnings.simplefilter("ignore")


def read(path, **options):
    """A log with its headings in one form, as text."""
    table = pd.read_csv(path, dtype=str, keep_default_na=False, **options)
    table.columns = [re.sub(r" ?\[.*", "", name.strip()).lower().replace(" ", "_") for name in table.columns]
    table["date"] = pd.to_datetime(table["date"], format="mixed", errors="coerce")
    return table.apply(lambda column: column.str.strip() if column.dtype != "datetime64[us]" else column)


def amounts(column):
    """Masses in grams, or pieces, of texts such as `1 1/2 lb`, `5 g`, `50`."""
    parts = column.str.replace(",", ".").str.extract(r"^(?:(\d+) )?([\d.]+)(?:/(\d+))?\s*([a-z ]*)$")
    whole, number, below = (pd.to_numeric(parts[each]) for each in (0, 1, 2))
    return (whole.fillna(0) + number / below.fillna(1)) * parts[3].str.strip().map(GRAMS)


def celsius(column, unit="F"):
    """Temperatures of texts such as `350 F`, `177 C`, `350`."""
    parts = column.str.replace(",", ".").str.extract(r"^([\d.]+) ?°?([FC]?)$")
    number, written = pd.to_numeric(parts[0]), parts[1].where(parts[1] != "", unit)
    return number.where(written == "C", (number - 32) / 1.8)


def hours(column):
    """Hours of texts such as `1:30`, `90 min`, `1.5h`."""
    parts = column.str.extract(r"^(?:(\d+):)?([\d.]+) ?(min|h)?$")
    clock, number = pd.to_numeric(parts[0]), pd.to_numeric(parts[1])
    return (clock + number / 60).where(clock.notna(), number / np.where(parts[2] == "min", 60, 1))


def read_pours():
    logs = []
    for path in sorted((FOLDER / "pours").iterdir()):
        options = {"sep": ";", "encoding": "cp1252"} if "may" in path.name else {"encoding": "utf-8-sig"}
        log = read(path, **options | ({"sep": "\t"} if path.suffix == ".tsv" else {}))
        log["mold_temp_c"] = celsius(log["mold_temp"], "C" if "august" in path.name else "F")
        logs.append(log)
    pours = pd.concat(logs, ignore_index=True)
    pours["count"] = pd.to_numeric(pours["count"].replace("", "1"), errors="coerce")
    pours["fill"], pours["mass_g"] = pd.to_numeric(pours["fill"]), amounts(pours["mass"])
    pours = pours[(pours["count"] > 0) & pours["date"].notna() & (pours["date"] < END)].copy()
    pours["session"] = pours["date"].dt.strftime("%m-%d")
    pours["fill_id"] = pours["mold"] + pours["session"] + pours["fill"].astype(str)
    pours["mold_temp_c"] = pours.groupby("fill_id")["mold_temp_c"].transform("first")
    return pours.sort_values(["date", "fill"], kind="stable")


POURS = read_pours()
STOCK = read(FOLDER / "bench" / "stock 2026.csv")
volume = STOCK["amount"].str.extract(r"^([\d.]+) fl oz$")[0].astype(float) * 29.5735295625
volume *= STOCK["item"].map({"plastic-pearl": 1.08, "plastic-chartreuse": 1.08})
STOCK["amount"] = amounts(STOCK["amount"]).fillna(volume)
STOCK = STOCK[STOCK["item"].isin(BENCH["items"]) & STOCK["amount"].notna() & (STOCK["date"] < END)]
COATS = read(FOLDER / "bench" / "coating.csv")
COATS = COATS[COATS["date"] < END]
BAITS = read(FOLDER / "water" / "baits.csv")
BAITS = BAITS[BAITS["build"].isin(BENCH["builds"]) & (BAITS["date"] < END)].reset_index(drop=True)
BAITS["fished_h"] = hours(BAITS["fished"])
BAITS["count"] = pd.to_numeric(BAITS["count"].replace("", "1"))
CAVITIES = {
    (name, cavity["name"]): cavity for name, mold in BENCH["molds"].items() for cavity in mold["cavities"]
}
