"""Widths: those that the printer sets."""

import pytest

from benchwater.drawing.text import FACES, FAMILY, advances, width_of
from drawing.write_advances import measured


def test_the_widths_written_down_are_those_of_the_font_file():
    assert measured() == advances(), "python tests/drawing/write_advances.py"


@pytest.mark.parametrize(
    "text", ["mold temperature before the fill, \u00b0F", "0123456789", "went without a row", "\u22121.5"]
)
def test_type_is_as_wide_as_pango_sets_it(text: str):
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration

    regular = FACES[0].path.as_uri()
    fonts = FontConfiguration()
    sheet = CSS(
        string=f'@font-face {{ font-family: "{FAMILY}"; src: url("{regular}") }} '
        f'span {{ font: 100px "{FAMILY}"; font-kerning: none; white-space: nowrap }} '
        "@page { size: 4000px 500px }",
        font_config=fonts,
    )
    page = HTML(string=f"<span>{text}</span>").render(stylesheets=[sheet], font_config=fonts).pages[0]
    spans = [box for box in page._page_box.descendants() if box.element_tag == "span"]
    assert width_of(text, 100) == pytest.approx(spans[0].width, rel=0.002)


def test_letters_of_other_scripts_take_room_and_marks_upon_letters_none():
    assert width_of("\u65e5\u672c", 10) == 20
    assert 4 < width_of("\U0001d400", 10) < 10
    assert width_of("e\u0301", 10) == pytest.approx(width_of("e", 10), abs=0.01)
