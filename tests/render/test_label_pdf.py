"""Tags, labels, cards and tally sheets as printed: the words are there, and both standards are met."""

import io
from pathlib import Path

import pypdf
import pytest

from command_line import run

DEMO = Path(__file__).parents[2] / "sample_logs"


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
