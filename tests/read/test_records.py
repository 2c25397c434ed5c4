import codecs

import pytest

from benchwater.read.outcome import FileError
from benchwater.read.records import Record, decode
from read.row_by_row import records

TEXT = "date,note\n2026-05-01,café 350°F ½\n"


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode("utf-8"),
        codecs.BOM_UTF8 + TEXT.encode("utf-8"),
        codecs.BOM_UTF16_LE + TEXT.encode("utf-16-le"),
        codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
        TEXT.encode("cp1252"),
    ],
)
def test_a_text_is_the_same_in_every_encoding(data):
    assert decode(data).text == TEXT


@pytest.mark.parametrize(
    "data", [b"PK\x03\x04\x00\x00\x00\x00zip", b"\x81\x8d\x8f", codecs.BOM_UTF8 + b"\xff"]
)
def test_what_is_no_text_is_refused(data):
    with pytest.raises(FileError):
        decode(data)


def cells(text, separator=","):
    return [record.cells for record in records(text, separator)]


def test_line_numbers_are_those_of_the_file_whatever_the_cells_hold():
    text = 'a,b\r\n\r\n1,"two\r\nlines, here"\r\n,,\r\n3,4'
    assert list(records(text, ",")) == [
        Record(1, ("a", "b")),
        Record(3, ("1", "two\nlines, here")),
        Record(6, ("3", "4")),
    ]


def test_a_doubled_quotation_mark_is_one_inside_a_cell():
    """RFC 4180, section 2, rule 7."""
    assert cells('1,"say ""hi"", then",2') == [("1", 'say "hi", then', "2")]


def test_inches_are_no_quotation():
    assert cells('9 1/2",a\n10",b') == [('9 1/2"', "a"), ('10"', "b")]


def test_a_quotation_never_closed_spoils_its_own_line_alone():
    text = 'a,b\n1,"open\n2,fine\n3,fine too\n'
    found = list(records(text, ","))
    assert [record.open_quote for record in found] == [False, True, False, False]
    assert found[2].cells == ("2", "fine")


def test_other_separators_are_no_cells_borders():
    assert cells("10,6;b\t c;;", ";") == [("10,6", "b\t c", "", "")]
