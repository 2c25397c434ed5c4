"""Printed sheets: form fields that come back, the paper of the bench, both standards, the same bytes."""

import hashlib
import io
import os
import subprocess
import sys
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdf
import pytest

from benchwater.render.pdf import typeface
from benchwater.render.sheets import file_name, print_sheet, sheet_html
from benchwater.sheets.compose import sheet_of
from benchwater.sheets.layout import BOTTOM_MM, PAPER_MM, SIDE_MM, Sheet
from command_line import run
from sheets.sample_benches import crowded, demo, empty, kind

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sample_logs"
BENCHES = {"demo": demo, "crowded": crowded, "empty": empty}
MM = 25.4 / 72
PRINT_AGAIN = """
import hashlib
from sheets.sample_benches import demo, kind
from benchwater.render.sheets import print_sheet
from benchwater.sheets.compose import sheet_of
print(hashlib.sha256(print_sheet(sheet_of(kind("catch"), demo()))).hexdigest())
"""


@cache
def sheet(bench: str, log: str) -> Sheet:
    return sheet_of(kind(log), BENCHES[bench]())


@cache
def printed(bench: str, log: str) -> bytes:
    return print_sheet(sheet(bench, log))


def reader(bench: str, log: str) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(printed(bench, log)))


def left_edges(page: Any) -> dict[str, float]:
    fields = (each.get_object() for each in page["/Annots"])
    return {str(each["/T"]): float(each["/Rect"][0]) for each in fields}


@pytest.mark.parametrize(
    ("bench", "log"),
    [("demo", "pour"), ("demo", "fishing"), ("empty", "pour"), ("demo", "inventory"), ("demo", "finishing")],
)
def test_the_page_is_of_the_benchs_paper_and_there_is_one(bench: str, log: str) -> None:
    (page,) = reader(bench, log).pages
    width, height = float(page.mediabox.width) * MM, float(page.mediabox.height) * MM
    assert (width, height) == pytest.approx(PAPER_MM[sheet(bench, log).paper], abs=0.1)


def test_every_box_and_every_place_to_write_is_a_field_with_its_name():
    fields = reader("demo", "pour").get_fields()
    assert fields is not None
    pour = sheet("demo", "pour")
    in_a_row = sum(len(entry.boxes) + entry.written for entry in pour.pages[0].entries)
    assert len(fields) == pour.rows * in_a_row + len(pour.head_entries) + 2
    for name in ("date", "session", "r01 mold+cavity round-jig / 1/8", "r02 outcome reject", "r15 mass"):
        assert name in fields
    assert fields["r02 flaw short fill"]["/TU"] == "row 2, flaw: short fill"
    assert fields["r01 mold_temp"]["/TU"] == "row 1, mold temp (°F)"
    assert fields["r01 outcome good"]["/FT"] == "/Btn"


def test_fields_stand_from_left_to_right_in_the_order_of_the_csv():
    edges = left_edges(reader("demo", "pour").pages[0])
    order = [
        "mold+cavity round-jig / 1/16",
        "mold+cavity two-inch-grub / grub",
        "outcome good",
        "count",
        "fill",
        "mold_temp",
        "melt_temp",
        "mass",
        "flaw short fill",
        "material alloy",
        "note",
    ]
    for first, second in pairwise(order):
        assert edges[f"r01 {first}"] < edges[f"r01 {second}"]


def test_what_is_filled_in_comes_back():
    writer = pypdf.PdfWriter(clone_from=reader("demo", "pour"))
    filled = {"date": "2026-05-17", "r01 mass": "7.1 g", "r01 outcome good": "/on"}
    writer.update_page_form_field_values(writer.pages[0], filled, auto_regenerate=False)
    kept = io.BytesIO()
    writer.write(kept)
    fields = pypdf.PdfReader(kept).get_fields()
    assert fields is not None
    assert {name: fields[name].value for name in filled} == filled
    assert fields["r01 outcome reject"].value == "/Off"
    annotations = (each.get_object() for each in pypdf.PdfReader(kept).pages[0].annotations or ())
    looks: dict[str, Any] = {str(field["/T"]): field["/AP"]["/N"] for field in annotations}
    texts = {name: look.get_data() for name, look in looks.items() if hasattr(look, "get_data")}
    written = {name for name, look in texts.items() if look.split() != [b"/Tx", b"BMC", b"EMC"]}
    assert written == {"date", "r01 mass"}


def test_the_text_holds_the_bench_and_the_meaning_of_its_columns():
    text = " ".join(reader("demo", "pour").pages[0].extract_text().replace("ﬁ", "fi").split())
    for word in ("Pour log", "Alder Flat bench", "guard-jig", "two-inch-grub", "misset insert", "°F"):
        assert word in text
    assert "8 melt_temp melt temperature" in text
    assert "Molten metal" in text
    assert "Life jacket on" in text


def test_it_is_tagged_and_says_its_language_and_title_and_no_date():
    pdf = reader("demo", "fishing")
    root: Any = pdf.root_object
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Fishing log: baits, blank sheet, Alder Flat bench"
    assert "/CreationDate" not in pdf.metadata
    assert b"pdfuaid" in root["/Metadata"].get_data()
    kinds = list(_kinds(root["/StructTreeRoot"]))
    for tag in ("/H1", "/Table", "/TH", "/TD", "/L", "/Form"):
        assert tag in kinds
    assert kinds.count("/Form") == len(list(pdf.pages[0].annotations or ()))


LOGS = ("pour", "finishing", "fishing", "catch", "inventory")
CROWDED = [pytest.param("crowded", log, marks=pytest.mark.slow) for log in LOGS]


@pytest.mark.parametrize(("bench", "log"), [*(("demo", log) for log in LOGS), ("empty", "catch"), *CROWDED])
def test_the_validator_finds_nothing_against_either_standard(bench: str, log: str) -> None:
    page = pytest.importorskip("page", reason="needs page-validation (the dev extra)")
    for profile, rules in ((page.ValidationProfile.PDF_UA_1, 100), (page.ValidationProfile.PDF_A_3A, 150)):
        found = page.validate_pdf_bytes(printed(bench, log), profile=profile)
        assert found.is_compliant, found.failures
        assert found.rules.passed >= rules


def test_every_field_says_how_it_looks_and_no_reader_is_asked_to() -> None:
    pdf = reader("demo", "pour")
    form: Any = pdf.root_object["/AcroForm"]
    assert "/NeedAppearances" not in form
    kinds = set()
    for field in (each.get_object() for each in pdf.pages[0].annotations or ()):
        left, bottom, right, top = (float(edge) for edge in field["/Rect"])
        looks = field["/AP"]["/N"]
        looks = looks if field["/FT"] == "/Tx" else looks[field["/AS"]]
        assert [float(edge) for edge in looks["/BBox"]] == pytest.approx(
            [0, 0, abs(right - left), abs(top - bottom)], abs=0.01
        )
        assert looks.get_data().split() == [b"/Tx", b"BMC", b"EMC"]
        kinds.add(field["/FT"])
    assert kinds == {"/Tx", "/Btn"}


def test_no_field_font_maps_to_a_byte_order_mark():
    pdf = pypdf.PdfWriter(clone_from=reader("demo", "catch"))
    maps = [
        each.get_data()
        for each in pdf._objects
        if isinstance(each, pypdf.generic.StreamObject) and b"begincmap" in each.get_data()
    ]
    assert maps
    assert not any(b"<feff>" in each.lower() for each in maps)


def test_twice_the_same_bytes_in_whatever_process():
    environment = {
        **os.environ,
        "PYTHONHASHSEED": "7",
        "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT / 'tests'}",
    }
    again = subprocess.run(
        [sys.executable, "-c", PRINT_AGAIN], capture_output=True, text=True, check=True, env=environment
    )
    assert again.stdout.strip() == hashlib.sha256(printed("demo", "catch")).hexdigest()


def test_names_are_text_and_nothing_else():
    hostile = replace(
        demo(),
        name="</title><img src='http://evil.invalid/x.png'>{{ 7*7 }}\x1b[31m",
        molds={name.replace("round", '"><input name=x>\u202e'): mold for name, mold in demo().molds.items()},
    )
    html = sheet_html(sheet_of(kind("pour"), hostile))
    assert "<img" not in html
    assert "49" not in html.partition("<style>")[0]
    assert "\x1b" not in html
    assert "\u202e" not in html
    assert "<input name=x>" not in html
    text = pypdf.PdfReader(io.BytesIO(print_sheet(sheet_of(kind("pour"), hostile)))).pages[0].extract_text()
    assert "evil.invalid" not in text or "<img" in text


def test_a_logs_name_is_no_path():
    assert file_name("pour") == "pour.pdf"
    assert file_name("../../etc/passwd") == "__.._etc_passwd.pdf"
    assert file_name("") == "log.pdf"


@pytest.mark.slow
def test_forty_molds_print_page_by_page_with_fields_of_their_own():
    pdf = reader("crowded", "pour")
    assert len(pdf.pages) == len(sheet("crowded", "pour").pages) > 1
    names = [str(each.get_object()["/T"]) for page in pdf.pages for each in page.annotations or ()]
    assert len(names) == len(set(names))
    assert {name.partition(" ")[0] for name in names} == {f"p{n}" for n in range(1, len(pdf.pages) + 1)}


@pytest.mark.slow
@pytest.mark.parametrize("bench", ["demo", "crowded", "empty"])
@pytest.mark.parametrize("log", ["pour", "finishing", "fishing", "catch", "inventory"])
def test_nothing_runs_over_the_margins_and_no_row_is_lower_than_a_hand_needs(bench: str, log: str) -> None:
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    made = sheet(bench, log)
    document = weasyprint.HTML(string=sheet_html(made)).render(
        font_config=fonts, stylesheets=[typeface(fonts)]
    )
    assert len(document.pages) == len(made.pages)
    for page in document.pages:
        right, bottom = page.width - SIDE_MM / 25.4 * 96, page.height - BOTTOM_MM / 25.4 * 96
        for box in page._page_box.descendants():
            turned = box.element is not None and "label" in (box.element.get("class") or "")
            if getattr(box, "text", "") and not turned:
                assert box.position_x + box.width <= right + 1, box.text
                assert box.position_y + box.height <= bottom + 1, box.text
            if type(box).__name__ == "TableRowBox" and not box.element.get("class"):
                assert box.height * 25.4 / 96 >= 7
            if turned and hasattr(box, "children"):
                assert all(line.width <= box.width + 1 for line in box.children), made.title


def _kinds(node: Any) -> Any:
    node = node.get_object()
    if not isinstance(node, dict):
        return
    if "/S" in node and node.get("/Type") == "/StructElem":
        yield str(node["/S"])
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        if not isinstance(child, int):
            yield from _kinds(child)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("options", "name", "words"),
    [
        (("--tags", 45), "tags.pdf", "222"),
        (("--labels",), "labels.pdf", "cured 375 °F"),
        (("--cards", "--stock", "3x3"), "cards.pdf", "takes alloy"),
        (("--tally",), "tally.pdf", "round-jig"),
        (("--trial", "leader"), "trial-leader.pdf", "drawn by lot"),
        (("--trip", "Mill Reach"), "trip-Mill Reach.pdf", "fish an hour"),
        (("--shopping",), "shopping.pdf", "evening"),
    ],
)
def test_what_is_printed_says_its_words_and_meets_both_standards(options, name, words, tmp_path):
    page = pytest.importorskip("page", reason="needs page-validation (the dev extra)")
    assert run("sheets", DEMO, *options, "--out", tmp_path).status == 0
    printed = (tmp_path / name).read_bytes()
    text = "\n".join(each.extract_text() for each in pypdf.PdfReader(io.BytesIO(printed)).pages)
    assert words in text
    for profile in (page.ValidationProfile.PDF_UA_1, page.ValidationProfile.PDF_A_3A):
        found = page.validate_pdf_bytes(printed, profile=profile)
        assert found.is_compliant, found.failures


def test_a_mistyped_printed_tag_is_set_aside_alone_and_asked_about(tmp_path):
    bench = (DEMO / "bench.toml").read_text(encoding="utf-8")
    (tmp_path / "bench.toml").write_text(f"{bench}\n[tags]\nprinted = 40\n", encoding="utf-8")
    rows = "date,build,fished,fate,bait\n2026-05-23,perch-grub,1,kept,22X\n2026-05-23,perch-grub,1,kept,23x\n"
    (tmp_path / "baits.csv").write_text(rows, encoding="utf-8")
    checked = run("check", tmp_path)
    assert "is none of the printed tags (`[tags] printed = 40`): is it `222` or" in checked.out
    assert "`23X`" in checked.out
