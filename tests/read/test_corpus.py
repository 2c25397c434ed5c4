"""Files that once were, or might be, trouble: each is read whole, or listed with its reason, and counted."""

from pathlib import Path

import pytest

from small_bench import read_files

CORPUS = sorted(path for path in (Path(__file__).parent / "corpus").iterdir() if path.name[0] != ".")


@pytest.mark.parametrize("path", CORPUS, ids=[path.name for path in CORPUS])
def test_no_file_of_the_corpus_breaks_the_reader_or_is_lost(tmp_path: Path, path: Path) -> None:
    reading = read_files(tmp_path, {path.name: path.read_bytes(), "good.csv": GOOD})
    assert [source.used for source in reading.sources if source.file == "good.csv"] == [1]
    account = [source for source in reading.sources if source.file == path.name]
    assert len(account) + len(reading.not_read) == 1
    for source in account:
        assert source.rows == source.used + source.repeated + source.set_aside
        assert source.set_aside == len(reading.set_aside)
    assert all(entry.why for entry in reading.set_aside)
    assert all(entry.why for entry in reading.not_read)


GOOD = "date,mold,cavity,outcome\n2026-05-31,round-jig,1/8,good\n"
