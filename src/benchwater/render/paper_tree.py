"""The HTML as the tree that is printed: without what is for screens, and simpler where paper lets it."""

import re
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from benchwater.render import printing

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_HELD = frozenset(("whole", "count"))
_NARROW, _OF_LINES = frozenset(("td", "th")), frozenset(("li", "p"))
_ON_THE_FIRST_LINE = 36
_BREAKS_WITHOUT_SPACE = re.compile(r"[-–—/]|[.](?!\d)|[^\W\d_ ]{12}")


def paper_page(html: str, fetcher: Any) -> Any:
    """WeasyPrint's page of the HTML.

    The templates are well-formed XML too: expat reads them in a twentieth of an HTML parser's time, to the
    same tree. WeasyPrint itself reads what is not.
    """
    weasyprint = printing.weasyprint()
    from cssselect2 import ElementWrapper

    try:
        root = ElementTree.fromstring(html)
    except ElementTree.ParseError:
        page = weasyprint.HTML(string=html, url_fetcher=fetcher)
        for_paper(page.etree_element)
        return page
    for_paper(root)
    page = weasyprint.HTML(string="", url_fetcher=fetcher)
    page.wrapper_element = ElementWrapper.from_html_root(root, content_language=None)
    page.etree_element = page.wrapper_element.etree_element
    return page


def for_paper(root: "Element") -> None:
    """Take out what the style sheet would not print, and what only a line of unknown width needs."""
    for parent in root.iter():
        for at, child in reversed(list(enumerate(parent))):
            if "screen-only" in child.get("class", "").split():
                _replace(parent, at, "")
    for block in root.iter():
        if block.tag in _NARROW or block.tag in _OF_LINES:
            _let_go(block, _ON_THE_FIRST_LINE if block.tag in _OF_LINES else 0, 0)


def _let_go(parent: "Element", first_line: int, before: int) -> int:
    """Set what is held in one piece as plain text where no line can end in it, or at a space alone.

    `before` letters of the block stand before this part of it; given back are those before what follows.
    A box of its own takes WeasyPrint as long as two cells of a table.
    """
    before += len(parent.text or "")
    at = 0
    while at < len(parent):
        child = parent[at]
        tail = len(child.tail or "")
        if child.tag == "span" and child.get("class") in _HELD and not len(child):
            text = child.text or ""
            before += len(text)
            if before <= first_line or not _BREAKS_WITHOUT_SPACE.search(text):
                _replace(parent, at, text if before <= first_line else text.replace(" ", "\u00a0"))
                at -= 1
        elif child.tag not in _OF_LINES:
            before = _let_go(child, first_line, before)
        before += tail
        at += 1
    return before


def _replace(parent: "Element", at: int, text: str) -> None:
    """Put text in the place of a child; what follows it stays."""
    child = parent[at]
    text += child.tail or ""
    if at:
        parent[at - 1].tail = (parent[at - 1].tail or "") + text
    else:
        parent.text = (parent.text or "") + text
    parent.remove(child)
