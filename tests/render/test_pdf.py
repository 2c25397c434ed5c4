"""The PDF: bookmarks, words, attachment, the same bytes every time, and not one request."""

import hashlib
import io
import json
import os
import subprocess
import sys
import tempfile
import urllib.request
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest

from benchwater.analyse.report import Report
from benchwater.files import only_writer
from benchwater.plugin.section import Figure
from benchwater.render.html import render_paper
from benchwater.render.json_twin import render_json
from benchwater.render.pdf import PrintingUnavailable, install_hint, to_pdf
from render.boxes import laid_out, running_over
from render.sample_report import HOSTILE, LONG_WORD, hostile_report, pdf_of

ROOT = Path(__file__).parents[2]
DAY = datetime(2026, 6, 1)
ATTACHED = {"string": "1", "name": "a.csv", "created": DAY, "modified": DAY, "relationship": "Data"}
PRINT_AGAIN = """
import hashlib
from render.sample_report import pdf_of, sample_report
print(hashlib.sha256(pdf_of(sample_report())).hexdigest())
"""


@pytest.mark.parametrize(("number", "attachments"), [(9, ()), (538, (ATTACHED,))])
def test_no_stream_ends_in_a_carriage_return(number: int, attachments: tuple[dict[str, Any], ...]) -> None:
    """A validator would take it for part of the line end; printed once, these pages did end so."""
    title = f"Page {number}"
    page = f'<html lang="en"><head><title>{title}</title></head><body><p>{title}</p></body></html>'
    assert b"\r\nendstream" not in to_pdf(page, attachments=attachments)


def test_printing_leaves_no_temporary_file_of_its_own_or_of_a_killed_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    left, busy, other = (
        tmp_path / name for name in ("benchwater-printing-1", "benchwater-printing-2", "another-program")
    )
    for folder in (left, busy, other):
        folder.mkdir()
        (folder / "font").write_bytes(b"x")
    with only_writer(busy):
        to_pdf("<p>Page")
        assert sorted(tmp_path.iterdir()) == [other, busy]
    assert tempfile.tempdir == str(tmp_path)


def test_words_bookmarks_metadata_and_attachment(printed: tuple[bytes, list[str]], report: Report) -> None:
    pdf, said = printed
    assert said == []
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert reader.metadata is not None
    assert reader.metadata.title == "Season report, Alder Flat bench, 2026-05"
    assert str(reader.metadata["/CreationDate"]) == "D:20260601"
    root: Any = reader.root_object
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    attached = reader.attachments["season-report.json"][0]
    assert json.loads(attached) == json.loads(render_json(report))

    pages = [page.extract_text() for page in reader.pages]
    assert "What to do next" in pages[0]
    assert "set aside" in pages[0]
    assert f"page 1 of {len(pages)}" in pages[0]
    assert "Before you melt" in pages[1]
    assert "Defects by mold temperature" in pages[2]
    assert all("Alder Flat bench · May 2026" in page for page in pages)

    top = [entry.title for entry in reader.outline if not isinstance(entry, list)]
    assert top == [
        "Season report",
        "For the bench",
        *(section.title for section in report.sections),
        "Appendix: the logs",
    ]
    nested: list[Any] = [entry for entry in reader.outline if isinstance(entry, list)]
    spans = [[each.title for each in entry] for entry in nested]
    assert spans[:2] == [
        ["Before you melt", "Ball jig, six cavities"],
        ["May 2026", "Season to date: 1 March to 31 May 2026"],
    ]
    assert "How these numbers were made" not in str(spans)


def test_the_words_come_out_in_the_order_they_are_read_in(printed: tuple[bytes, list[str]]) -> None:
    text = " ".join(
        " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(printed[0])).pages).split()
    )
    section = text[text.index("Defects by mold temperature May 2026") :]
    in_order = (
        "May 2026 Keep the mold at 352 °F",
        "Share rejected by mold temperature",
        "Season to date: 1 March to 31 May 2026 14 % of castings",
        "Rejects by mold temperature From °F Below °F Castings",
        "248 266 180 166 92 86 98 266 284",
    )
    places = [section.index(words) for words in in_order]
    assert places == sorted(places)


@pytest.mark.slow
def test_the_same_bytes_in_another_process_place_and_language(printed: tuple[bytes, list[str]]) -> None:
    elsewhere = os.environ | {
        "PYTHONPATH": os.pathsep.join(str(ROOT / name) for name in ("src", "tests")),
        "PYTHONHASHSEED": "4711",
        "TZ": "Pacific/Kiritimati",
        "LANG": "de_DE.UTF-8",
        "LC_ALL": "C",
    }
    again = subprocess.run(
        [sys.executable, "-c", PRINT_AGAIN], env=elsewhere, capture_output=True, text=True, check=True
    )
    assert again.stdout.strip() == hashlib.sha256(printed[0]).hexdigest()


def test_hostile_text_and_plots_fetch_nothing(monkeypatch: pytest.MonkeyPatch, report: Report) -> None:
    asked: list[str] = []
    plain_open = urllib.request.OpenerDirector.open

    def count(self: Any, request: Any, *args: Any, **kwargs: Any) -> Any:
        url = request if isinstance(request, str) else request.full_url
        if not url.startswith("data:"):
            asked.append(url)
        return plain_open(self, request, *args, **kwargs)

    monkeypatch.setattr(urllib.request.OpenerDirector, "open", count)
    reaching = Figure(
        id="reach",
        title="A plot that reaches out",
        alt="nothing",
        svg='<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        'width="9" height="9">'
        '<style>@import url("http://evil.invalid/a.css");</style>'
        '<image xlink:href="http://evil.invalid/x.png" width="9" height="9"/>'
        '<image href="file:///etc/passwd" width="9" height="9"/></svg>',
    )
    hostile = hostile_report(HOSTILE)
    first = hostile.sections[0]
    part = replace(first.parts[0], section=replace(first.parts[0].section, figures=(reaching,), tables=()))
    hostile = replace(hostile, sections=(replace(first, parts=(part,)),))
    reader = pypdf.PdfReader(io.BytesIO(pdf_of(hostile)))
    assert asked == []
    assert list(reader.attachments) == ["season-report.json"]


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("text", ["", pytest.param(LONG_WORD, marks=pytest.mark.slow)])
def test_nothing_runs_over_the_margin(paper: Any, text: str, report: Report) -> None:
    wide = hostile_report(text) if text else report
    sections = wide.sections[2:3] if text else wide.sections
    wide = replace(wide, bench=replace(wide.bench, paper=paper), sections=sections, actions=wide.actions[:1])
    document = laid_out(render_paper(wide))
    widths = {round(page.width * 25.4 / 96) for page in document.pages}
    assert widths == {216 if paper == "letter" else 210}
    assert running_over(document.pages) == []


def test_missing_native_libraries_are_explained(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str], report: Report
) -> None:
    (tmp_path / "weasyprint.py").write_text(
        "print('could not import some external libraries')\n"
        "raise OSError('cannot load library libpangoft2-1.0-0')\n"
    )
    for name in [name for name in sys.modules if name.partition(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(PrintingUnavailable) as caught:
        pdf_of(report, "<p>")
    assert capsys.readouterr().out == ""
    assert str(caught.value).startswith(install_hint())
    assert "cannot load library" in str(caught.value)
