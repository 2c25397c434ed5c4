"""The three core sections of a month, as a capable person would script them: FOLDER MONTH PDF CHROMIUM

It stands beside `report --only material_balance --only defect_rate --only bait_mortality` and does the
same work for the month and the season to date: the rows become quantities in canonical units; the balance of
each item with its standard uncertainty and the adjustment of its counts; yields and casting masses; bad
castings by temperature, cavity and session with Wilson limits, cold and hot flaws fitted by statsmodels with
errors clustered by fill, the window with delta limits, a heat balance fitted by scipy; life curves, causes as
competing risks, exact Poisson rates and their contrasts, log-rank tests, Holm's adjustment. The ten figures
are of the same kinds, by matplotlib; the tables have the rows and columns of the report's, those on paper and
those for the screen alone; HTML, JSON and PDF are written, the PDF by one start of headless Chromium.

Left out, which makes it quicker than a whole counterpart: checks of the logs (it knows which file is written
how, and drops what does not parse), the front page's ranking and small plots, the words on methods, tags and
attachments in the PDF, profile likelihood and Firth's penalty. Nothing is done twice or for show: vectorised
where that is the plain way, the modules of statsmodels imported one by one, figures without pyplot, SVG with
type as text, one HTML, and the flags that start Chromium soonest.
"""

import hashlib
import json
import subprocess
import sys
import tempfile
from datetime import datetime
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from benchmarks.references.plain.baits import baits
from benchmarks.references.plain.castings import defects
from benchmarks.references.plain.logs import CHROMIUM, FOLDER, MONTH, PDF
from benchmarks.references.plain.material import material
from benchmarks.references.plain.page import PAGE, TABLES


def sources():
    rows = []
    for path in sorted(path for path in FOLDER.rglob("*") if path.suffix in {".csv", ".tsv"}):
        content = path.read_bytes()
        rows.append(
            (
                path.relative_to(FOLDER).as_posix(),
                content.count(b"\n") - 1,
                hashlib.sha256(content).hexdigest()[:12],
            )
        )
    PAGE.append(
        "<h2>What was read</h2>" + pd.DataFrame(rows, columns=["file", "rows", "sha256"]).to_html(index=False)
    )


CSS = """body{font:9pt sans-serif}table{border-collapse:collapse;font-size:7.5pt}img{width:48%}
td,th{padding:1pt 6pt;text-align:right}h2{break-before:page}@media print{.screen{display:none}}
@page{size:letter;margin:16mm}"""

material()
defects()
baits()
sources()
html = PDF.with_suffix(".html")
html.write_text(
    f"<!doctype html><meta charset=utf-8><title>{MONTH}</title><style>{CSS}</style>"
    f"<h1>Season report, {MONTH}</h1>{''.join(PAGE)}"
)
PDF.with_suffix(".json").write_text(
    json.dumps(
        TABLES, default=lambda value: value.isoformat() if isinstance(value, datetime) else value.item()
    )
)
with tempfile.TemporaryDirectory() as profile:
    subprocess.run(
        [
            CHROMIUM,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-extensions",
            "--no-first-run",
            "--disable-background-networking",
            "--no-pdf-header-footer",
            f"--user-data-dir={profile}",
            f"--print-to-pdf={PDF}",
            html.as_uri(),
        ],
        check=True,
        capture_output=True,
    )
