"""Pictures that logs name: found, held to their bounds, made small without what they tell of the maker."""

import io
from pathlib import Path

import pytest
from PIL import Image

from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.read.photos import LONGEST_SIDE_PX, MOST_SMALL_BYTES, small_photo

BENCH = Path(__file__).parents[2] / "sample_logs/bench.toml"
POUR = """date,mold,cavity,outcome,count,flaw,photo
2026-05-20,round-jig,1/8,reject,2,short fill,flaw.png
2026-05-20,round-jig,1/8,good,8,,
2026-05-20,round-jig,1/8,reject,1,flash,gone.jpg
2026-05-20,round-jig,1/8,reject,1,flash,broken.jpg
"""
FISH = """date,species,build,length,photo
2026-05-23,perch,perch-grub,11 in,PICS\\Perch.JPG
2026-05-23,crappie,perch-grub,9 in,
"""
BAITS = """date,build,fished,fate,bait,cause
2026-05-23,perch-grub,1 h,lost,K7P,snag
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    pictures = tmp_path / "pics"
    pictures.mkdir()
    (tmp_path / "bench.toml").write_bytes(BENCH.read_bytes())
    for name, text in (("pour.csv", POUR), ("fish.csv", FISH), ("baits.csv", BAITS)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    secret = Image.Exif()
    secret[0x010F] = "SECRET-CAMERA"
    Image.effect_noise((3000, 2000), 60).convert("RGB").save(pictures / "perch.jpg", exif=secret)
    for name, colour in (("flaw.png", "red"), ("K7P.jpg", "green"), ("2026-05-23 crappie.jpg", "blue")):
        Image.new("RGB", (400, 600), colour).save(pictures / name)
    Image.new("RGB", (40, 60)).save(pictures / "holiday.png")
    (pictures / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 no picture")
    return tmp_path


def test_a_row_has_the_picture_it_names_or_the_one_whose_name_tells_of_it(folder: Path):
    tables = read_workspace(folder).reading.tables
    assert tables["pour"]["photo"].tolist()[:2] == ["pics/flaw.png", pytest.approx(float("nan"), nan_ok=True)]
    assert tables["catch"]["photo"].tolist() == ["pics/perch.jpg", "pics/2026-05-23 crappie.jpg"]
    assert tables["fishing"]["photo"].tolist() == ["pics/K7P.jpg"]


def test_a_picture_that_is_gone_or_broken_is_set_aside_alone_and_the_row_counts(folder: Path):
    reading = read_workspace(folder).reading
    assert [(cell.line, cell.value) for cell in reading.cells_set_aside] == [
        (4, "gone.jpg"),
        (5, "broken.jpg"),
    ]
    assert "no picture in the folder" in reading.cells_set_aside[0].why
    assert "cannot be opened" in reading.cells_set_aside[1].why
    assert len(reading.tables["pour"]) == 4
    assert sum(source.cells_set_aside for source in reading.sources) == 2
    assert {each.file: each.why for each in reading.not_read} == {
        "pics/broken.jpg": "is a picture that no row names",
        "pics/holiday.png": "is a picture that no row names",
    }


def test_the_report_holds_small_pictures_that_say_nothing_of_place_or_camera(folder: Path):
    report = make_report(
        read_workspace(folder), Request(only=("catch_size", "defect_rate", "bait_mortality"))
    )
    assert set(report.photos) == {
        "pics/flaw.png",
        "pics/perch.jpg",
        "pics/2026-05-23 crappie.jpg",
        "pics/K7P.jpg",
    }
    for content in report.photos.values():
        small = Image.open(io.BytesIO(content))
        assert max(small.size) <= LONGEST_SIDE_PX
        assert len(content) <= MOST_SMALL_BYTES
        assert not small.getexif()
        assert b"SECRET" not in content


def test_the_same_picture_gives_the_same_bytes_and_a_broken_one_none(folder: Path):
    assert small_photo(folder / "pics/perch.jpg") == small_photo(folder / "pics/perch.jpg")
    assert small_photo(folder / "pics/broken.jpg") is None
    assert small_photo(folder / "pour.csv") is None
