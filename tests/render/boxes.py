"""The rendered boxes of a page, and the words among them that run over its edges."""

from collections.abc import Sequence
from typing import Any

from benchwater.render.pdf import _font_faces

SIDE_PX, FOOT_PX = 21 / 25.4 * 96, 6 / 25.4 * 96


def laid_out(html: str) -> Any:
    """The laid-out document."""
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    typeface = weasyprint.CSS(string=_font_faces(), font_config=fonts)
    return weasyprint.HTML(string=html).render(font_config=fonts, stylesheets=[typeface])


def running_over(pages: Sequence[Any]) -> list[str]:
    """Words and pictures that cross a side margin, or come too near to a page's upper or lower edge."""
    over = []
    for number, page in enumerate(pages, start=1):
        for box in page._page_box.descendants():
            words = getattr(box, "text", "") or (getattr(box, "replacement", None) and "picture")
            if not words:
                continue
            right, foot = box.position_x + box.width, box.position_y + box.height
            sideways = box.position_x < SIDE_PX - 1 or right > page.width - SIDE_PX + 1
            if sideways or box.position_y < FOOT_PX or foot > page.height - FOOT_PX:
                over.append(f"page {number}: {words}")
    return over
