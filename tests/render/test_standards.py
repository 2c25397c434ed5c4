"""What others may hold the report to: PDF/UA-1 and PDF/A-3a, read aloud, in grey, and with its sources."""

import hashlib
import io
import itertools
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest

from benchwater import plots
from benchwater.analyse.report import Report
from benchwater.drawing.picture import SPARK, SPARK_NOW, sparkline
from benchwater.read.outcome import Source
from benchwater.render.html import render_paper
from benchwater.render.pdf import compress, identify_as_ua, read_logs
from benchwater.render.write import write_report
from colours import contrast, lightness
from render.sample_report import pdf_of

TEMPLATES = Path(__file__).parents[2] / "src/benchwater/render/templates"
TEXT = ("ink", "deep", "quiet", "ember", "amber")


def tags(node: Any) -> Iterator[Any]:
    """Every element of a structure tree, in reading order."""
    node = node.get_object()
    if not isinstance(node, dict):
        return
    yield node
    children = node.get("/K", [])
    children = children.get_object() if hasattr(children, "get_object") else children
    for child in children if isinstance(children, list) else [children]:
        if isinstance(child.get_object() if hasattr(child, "get_object") else child, dict):
            yield from tags(child)


@pytest.mark.parametrize(("profile", "rules"), [("PDF_UA_1", 100), ("PDF_A_3A", 150)])
def test_the_validator_finds_nothing(profile: str, rules: int, printed: tuple[bytes, list[str]]) -> None:
    page = pytest.importorskip("page", reason="needs page-validation (the dev extra)")
    found = page.validate_pdf_bytes(printed[0], profile=getattr(page.ValidationProfile, profile))
    assert found.is_compliant, found.failures
    assert found.rules.passed >= rules


def test_the_mark_of_the_second_standard_is_refused_where_the_first_left_no_place_for_it() -> None:
    import pydyf

    pdf, metadata = pydyf.PDF(), pydyf.Stream([b"<x:xmpmeta></x:xmpmeta>"])
    pdf.add_object(metadata)
    pdf.catalog["Metadata"] = metadata.reference
    with pytest.raises(ValueError, match="no rdf:RDF"):
        identify_as_ua(pdf)


def test_no_compressed_stream_ends_in_half_of_a_line_end() -> None:
    import pydyf

    pdf = pydyf.PDF()
    texts = ["a" * number for number in range(1, 257)]
    for text in texts:
        pdf.add_object(pydyf.Stream([text], compress=True))
    pdf.add_object(pydyf.Stream(["as it is"]))
    ends = [stream.data.removesuffix(b"\nendstream")[-1:] for stream in pdf.objects[3:]]
    assert b"\r" in ends
    compress(pdf)
    written = io.BytesIO()
    pdf.write(written)
    assert b"\r\nendstream" not in written.getvalue()
    reader: Any = pypdf.PdfReader(written)
    for stream, text in zip(pdf.objects[3:], [*texts, "as it is"], strict=True):
        assert reader.get_object(stream.number).get_data() == text.encode()
    assert len(written.getvalue()) < 40_000


def test_the_structure_tree_tells_headings_tables_and_every_picture(
    printed: tuple[bytes, list[str]], report: Report
) -> None:
    root: Any = pypdf.PdfReader(io.BytesIO(printed[0])).root_object
    tree = list(tags(root["/StructTreeRoot"]))
    found = Counter(str(each.get("/S")) for each in tree)
    assert found["/H1"] == 1
    assert found["/H2"] == 4 + 1 + len(report.sections) + 1
    levels = [int(name[2]) for each in tree if re.fullmatch("/H[1-6]", name := str(each.get("/S")))]
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert found["/Table"] == found["/THead"] > 3
    assert found["/TH"] > found["/Table"]
    pictures = [each for each in tree if each.get("/S") == "/Figure"]
    drawn = sum(len(part.section.figures) for section in report.sections for part in section.parts)
    assert 0 < len(pictures) <= drawn + len(report.vitals)
    assert all(len(str(each.get("/Alt"))) > 20 for each in pictures)
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]


def _colours(css: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", css))


@pytest.mark.parametrize("look", ["light", "dark"])
def test_text_stands_out_from_what_is_behind_it(look: str) -> None:
    colours = _colours((TEMPLATES / "report.css").read_text())
    assert set(TEXT) < set(colours)
    if look == "dark":
        dark = _colours((TEMPLATES / "screen.css").read_text())
        assert set(dark) == set(colours)
        colours = dark
    for text, behind in itertools.product(TEXT, ("page", "wash")):
        assert contrast(colours[text], colours[behind]) >= 4.5, (text, behind)
    for text, behind in (("on-deep", "deep"), ("on-ember", "ember")):
        assert contrast(colours[text], colours[behind]) >= 4.5
    for mark in (SPARK, SPARK_NOW):
        assert contrast(mark, colours["page"]) >= 3


def test_no_colour_is_written_outside_of_what_was_measured() -> None:
    measured = {*_colours((TEMPLATES / "report.css").read_text()).values(), "#fff"}
    for name in ("report.css", "print.css"):
        for colour in re.findall(r"#[0-9a-f]{3,6}\b", (TEMPLATES / name).read_text()):
            assert colour in measured, (name, colour)


def test_parts_of_a_whole_are_told_apart_in_grey() -> None:
    assert sorted(plots.STACK) == list(range(len(plots.PALETTE)))
    for one, other in itertools.pairwise(plots.PALETTE[place] for place in plots.STACK):
        assert abs(lightness(one) - lightness(other)) >= 9.9, (one, other)
    assert {SPARK, SPARK_NOW} <= set(plots.PALETTE)
    assert contrast(plots.INK, "#ffffff") >= 4.5
    assert contrast(plots.QUIET, "#ffffff") >= 4.5


def test_a_month_without_rows_is_a_gap_and_a_zero_is_not() -> None:
    bars = sparkline([4, None, 0, 2])
    assert bars.count("<rect") == 2
    assert bars.count("<path") == 3
    line = sparkline([0.5, None, 0.25, 1.0], flowing=True, share=True)
    assert line.count("<circle") == 3
    assert len(re.findall(r'<path d="M[^"]*L', line)) == 1


def _with_logs(report: Report, folder: Path, texts: dict[str, str]) -> Report:
    sources = []
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        digest = hashlib.sha256(text.encode()).hexdigest()
        sources.append(Source(file=name, sha256=digest, log="pour", rows=1, used=1, repeated=0, set_aside=0))
    return replace(report, sources=tuple(sources))


def test_the_pdf_carries_the_logs_as_they_were_read(report: Report, tmp_path: Path) -> None:
    page = pytest.importorskip("page", reason="needs page-validation (the dev extra)")
    texts = {"pours/may.csv": "a,b\n1,2\n", "pours_may.csv": "c\n", "changed.csv": "d\n", "gone.csv": "e\n"}
    made = _with_logs(replace(report, sections=report.sections[:1]), tmp_path, texts)
    (tmp_path / "changed.csv").write_text("other\n")
    (tmp_path / "gone.csv").unlink()
    written = write_report(made, tmp_path / "out", workspace=tmp_path)
    pdf = written.files[0].read_bytes()
    attached = pypdf.PdfReader(io.BytesIO(pdf)).attachments
    assert list(attached) == ["season-report.json", "pours_may.csv", "pours_may-2.csv"]
    assert attached["pours_may.csv"][0] == b"a,b\n1,2\n"
    for profile in (page.ValidationProfile.PDF_UA_1, page.ValidationProfile.PDF_A_3A):
        assert page.validate_pdf_bytes(pdf, profile=profile).is_compliant
    kinds = {str(each["/AFRelationship"]) for each in _file_specifications(pdf)}
    assert kinds == {"/Data", "/Source"}
    logs = read_logs(tmp_path, made.sources)
    assert pdf_of(made, render_paper(made, [log.file for log in logs]), logs) == pdf
    told = written.files[1].read_text()
    assert "Not the others, which have changed since or are too large" in told


def _file_specifications(pdf: bytes) -> list[Any]:
    root: Any = pypdf.PdfReader(io.BytesIO(pdf)).root_object
    return [each.get_object() for each in root["/AF"]]


def test_large_logs_stay_outside(report: Report, tmp_path: Path) -> None:
    made = _with_logs(report, tmp_path, {"big.csv": "x" * 900, "small.csv": "y" * 90, "next.csv": "z" * 90})
    assert [log.file for log in read_logs(tmp_path, made.sources, most_bytes=200)] == [
        "small.csv",
        "next.csv",
    ]


def test_the_pdf_carries_none_of_a_thousand_logs_and_more(report: Report, tmp_path: Path) -> None:
    made = _with_logs(report, tmp_path, {f"{number}.csv": f"{number}\n" for number in range(1001)})
    assert read_logs(tmp_path, made.sources) == ()
    assert len(read_logs(tmp_path, made.sources[1:])) == 1000
