"""The rendered boxes of a page, and the words among them that run over its edges."""

from collections.abc import Sequence
from typing import Any

from benchwater.render.pdf import typeface

_MM = 96 / 25.4
SIDE_PX, HEAD_PX, FOOT_PX, EDGE_PX = 21 * _MM, 13 * _MM, 17 * _MM, 5 * _MM


def laid_out(html: str) -> Any:
    """The laid-out document."""
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    return weasyprint.HTML(string=html).render(font_config=fonts, stylesheets=[typeface(fonts)])


def running_over(pages: Sequence[Any]) -> list[str]:
    """Words and pictures that cross the margins; of the running foot, those that near the paper's edge."""
    over = []
    for number, page in enumerate(pages, start=1):
        for part in page._page_box.children:
            running = type(part).__name__ == "MarginBox"
            top, foot = (EDGE_PX, EDGE_PX) if running else (HEAD_PX, FOOT_PX)
            for box in part.descendants():
                words = getattr(box, "text", "")
                if not words and getattr(box, "replacement", None) is None:
                    continue
                right, bottom = box.position_x + box.width, box.position_y + box.height
                sideways = box.position_x < SIDE_PX - 1 or right > page.width - SIDE_PX + 1
                if sideways or box.position_y < top - 1 or bottom > page.height - foot + 1:
                    over.append(f"page {number}: {words or 'a picture'}")
    return over


def words_on(pages: Sequence[Any], words: str) -> Any:
    """The first box of text that holds these words, None where no page shows them."""
    for page in pages:
        for box in page._page_box.descendants():
            if words in (getattr(box, "text", "") or ""):
                return box
    return None


def filled(page: Any) -> float:
    """The share of a page's height between its margins that lies above its last word or picture."""
    body = next(part for part in page._page_box.children if type(part).__name__ != "MarginBox")
    ends = [
        box.position_y + box.height
        for box in body.descendants()
        if getattr(box, "text", "") or getattr(box, "replacement", None) is not None
    ]
    top = page._page_box.content_box_y()
    return float((max(ends, default=top) - top) / page._page_box.height)
