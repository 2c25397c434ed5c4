from benchwater.read.records import Record
from read.row_by_row import records


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
