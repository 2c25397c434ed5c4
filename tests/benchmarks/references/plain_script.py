"""What a person would write for the three core sections: statsmodels, matplotlib, Chromium. FOLDER PDF

Stock by item, rejects by mold temperature with a logistic fit, survival of baits; three figures and three
tables on a page that headless Chromium prints. It reads the demo as it is and checks nothing.
"""

import base64
import io
import subprocess
import sys
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import statsmodels.api as sm
from statsmodels.duration.survfunc import SurvfuncRight

FOLDER, PDF = Path(sys.argv[1]), Path(sys.argv[2]).resolve()


def pours():
    """Every pour log, its numbers as they stand."""
    for path in sorted((FOLDER / "pours").iterdir()):
        text = path.read_bytes()
        encoding = "cp1252" if "may" in path.name else "utf-8-sig"
        table = pd.read_csv(io.BytesIO(text), sep=None, engine="python", encoding=encoding)
        table.columns = [name.strip().lower().replace(" ", "_").split("_[")[0] for name in table.columns]
        yield table


def number(column):
    """The number at the start of each cell."""
    text = column.astype(str).str.replace(",", ".").str.extract(r"^([0-9.]+)")[0]
    return pd.to_numeric(text, errors="coerce")


def picture(draw):
    """A figure as an image in the page."""
    figure, axes = plt.subplots(figsize=(6, 3))
    draw(axes)
    stream = io.BytesIO()
    figure.savefig(stream, format="svg")
    return f'<img src="data:image/svg+xml;base64,{base64.b64encode(stream.getvalue()).decode()}">'


stock = pd.read_csv(FOLDER / "bench" / "stock 2026.csv")
stock["grams"] = number(stock["amount"])
balance = stock.pivot_table(index="item", columns="move", values="grams", aggfunc="sum").fillna(0)

pour = pd.concat(list(pours()), ignore_index=True)
pour["temp"], pour["bad"] = number(pour["mold_temp"]), (pour["outcome"] == "reject").astype(float)
known = pour[(pour["outcome"] != "blank") & pour["temp"].between(150, 500)]
fit = sm.Logit(known["bad"], sm.add_constant(np.column_stack([known["temp"], known["temp"] ** 2]))).fit(
    disp=0
)
grid = np.linspace(known["temp"].min(), known["temp"].max(), 60)
curve = fit.predict(sm.add_constant(np.column_stack([grid, grid**2])))

baits = pd.read_csv(FOLDER / "water" / "baits.csv")
clock = baits["fished"].str.extract(r"^(\d+):(\d+)$").astype(float)
hours = clock[0] + clock[1] / 60
minutes = baits["fished"].str.contains("min")
baits["hours"] = hours.fillna(number(baits["fished"]) / np.where(minutes, 60, 1)).fillna(1)
survival = SurvfuncRight(baits["hours"], (baits["fate"] != "kept").astype(int))

page = "".join(
    [
        "<h1>Season</h1><h2>Stock</h2>",
        balance.to_html(),
        picture(lambda axes: balance.sum(axis=1).plot.bar(ax=axes)),
        "<h2>Rejects</h2>",
        known.groupby("cavity")["bad"].agg(["mean", "size"]).to_html(),
        picture(lambda axes: axes.plot(grid, curve)),
        "<h2>Baits</h2>",
        survival.summary().to_html(),
        picture(lambda axes: axes.step(survival.surv_times, survival.surv_prob)),
    ]
)
html = PDF.with_suffix(".html")
html.write_text(f"<!doctype html><meta charset=utf-8>{page}")
subprocess.run(
    [sys.argv[3], "--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={PDF}", html.as_uri()],
    check=True,
    capture_output=True,
)
