"""The demo season in other words: the same values, or an unknown one that is told, never another."""

import csv
import io
from functools import cache
from pathlib import Path
from random import Random

import pandas as pd
import pytest

from benchwater.read.bench_file import load_bench
from benchwater.read.folder import read_folder
from benchwater.read.vocabulary import everyday_key
from small_bench import shipped_kinds

DEMO = Path(__file__).parents[2] / "sample_logs"


@cache
def demo():
    return read_folder(DEMO, shipped_kinds(), load_bench(DEMO).bench)


def rewritten(folder, changed):
    """Write the demo's logs with the cells of each record changed, and read them."""
    kinds = {kind.name: kind for kind in shipped_kinds()}
    for source in demo().sources:
        text = (DEMO / source.file).read_bytes()
        encoding = source.dialect.partition(",")[0].replace("windows-1252", "cp1252")
        mark = {"commas": ",", "semicolons": ";", "tabs": "\t"}[source.dialect.rpartition(" ")[2]]
        lines = list(csv.reader(io.StringIO(text.decode(encoding).lstrip("\ufeff")), delimiter=mark))
        out = io.StringIO()
        csv.writer(out, delimiter=mark).writerows(changed(kinds[source.log], lines))
        (folder / source.file).parent.mkdir(exist_ok=True)
        (folder / source.file).write_text(out.getvalue(), encoding="utf-8")
    return read_folder(folder, shipped_kinds(), load_bench(DEMO).bench)


def header_at(kind, lines):
    names = {column.name for column in kind.columns}
    return next(at for at, cells in enumerate(lines) if len({plain(cell) for cell in cells} & names) > 2)


def plain(cell):
    return cell.split("[")[0].strip().casefold().replace(" ", "_").replace("-", "_")


def slip(text, draw):
    at = draw.randrange(1, max(2, len(text) - 1))
    how = draw.choice(("drop", "double", "swap"))
    if len(text) < 5:
        return text
    if how == "drop":
        return text[:at] + text[at + 1 :]
    if how == "double":
        return text[:at] + text[at] + text[at:]
    return text[:at] + text[at + 1 : at + 2] + text[at] + text[at + 2 :]


def in_other_words(draw):
    def changed(kind, lines):
        at = header_at(kind, lines)
        columns = [kind.column(plain(cell)) for cell in lines[at]]
        heads = []
        for cell, column in zip(lines[at], columns, strict=True):
            unit = cell[cell.index("[") :] if "[" in cell else ""
            known = [each for each in (column.everyday if column else ()) if "[" not in each]
            text = draw.choice([column.name, *column.also, *known]) if column else cell
            heads.append(f"{slip(text, draw) if draw.random() < 0.2 else text} {unit}".strip())
        rows = [
            [
                cell if column is None else word(cell, column, kind, draw)
                for cell, column in zip(cells, columns, strict=False)
            ]
            for cells in lines[at + 1 :]
        ]
        return [*lines[:at], heads, *rows]

    return changed


def word(cell, column, kind, draw):
    """A cell in other words that say no more: `lost` is not `bitten off`, which is its cause too."""
    others = dict(column.word_phrases).get(cell.strip().casefold())
    if others is None or column.kind != "word":
        return cell
    told = {everyday_key(each) for each in phrases_of_others(kind, column)}
    same = [each for each in others if not any(f" {more} " in f" {everyday_key(each)} " for more in told)]
    text = draw.choice([cell, *same])
    text = draw.choice([text, text.upper(), text.capitalize()])
    return slip(text, draw) if draw.random() < 0.2 else text


def phrases_of_others(kind, column):
    for other in kind.columns:
        if other.name != column.name:
            for word, phrases in other.word_phrases:
                yield from (word, *phrases)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_other_words_and_misspellings_give_the_same_values_or_a_question(tmp_path, seed):
    reading = rewritten(tmp_path, in_other_words(Random(seed)))
    not_read = {each.file for each in reading.not_read}
    lines = {(each.file, each.line) for each in reading.set_aside}
    cells = {(each.file, each.line, each.column) for each in reading.cells_set_aside}
    named = {each.file for each in reading.unread_columns if each.could_be}
    asked = {(each.file, name) for each in reading.unread_columns for name in each.may_be}
    for kind in shipped_kinds():
        old = demo().tables[kind.name].set_index(["file", "line"])
        new = reading.tables[kind.name].set_index(["file", "line"])
        missing = old.index.difference(new.index)
        assert all(key in lines or key[0] in not_read for key in missing), "a row that is gone is told"
        assert new.index.difference(old.index).empty, "no row becomes another log's"
        both = old.index.intersection(new.index)
        for column in kind.columns:
            pairs = zip(both, old.loc[both, column.frame_name], new.loc[both, column.frame_name], strict=True)
            for (file, line), one, other in pairs:
                if same(one, other) or (file, column.name) in asked:
                    continue
                is_unknown = not isinstance(other, tuple) and pd.isna(other)
                told = is_unknown and (file in named or (file, line, column.name) in cells)
                assert told, (file, line, column.name, one, other)


def same(one, other):
    if isinstance(one, tuple) or isinstance(other, tuple):
        return one == other
    return (
        (pd.isna(one) and pd.isna(other))
        or one == other
        or everyday_key(str(one)) == everyday_key(str(other))
    )


@pytest.mark.slow
def test_every_heading_of_the_demo_renamed_to_nonsense_is_named(tmp_path):
    for kind in shipped_kinds():
        for column in kind.columns:
            folder = tmp_path / f"{kind.name}-{column.name}"
            folder.mkdir()
            renamed: set[str] = set()

            def changed(of, lines, kind=kind, column=column, renamed=renamed):
                at = header_at(of, lines)
                if of.name != kind.name or column.name not in map(plain, lines[at]):
                    return lines
                place = [plain(cell) for cell in lines[at]].index(column.name)
                if any(len(cells) > place and cells[place].strip() for cells in lines[at + 1 :]):
                    renamed.add(kind.name)
                heads = ["Xyzzyq" if number == place else cell for number, cell in enumerate(lines[at])]
                return [*lines[:at], heads, *lines[at + 1 :]]

            reading = rewritten(folder, changed)
            if renamed:
                refused = [each.why for each in reading.not_read if "`Xyzzyq`" in each.why]
                unread = [each for each in reading.unread_columns if each.column == "Xyzzyq"]
                assert refused or any(each.could_be for each in unread), (kind.name, column.name)
