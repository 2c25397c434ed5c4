"""The HTML as the tree that is printed: read by the standard library, without what is for screens."""

from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from benchwater.render import printing

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


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
        _leave_out_what_is_for_screens(page.etree_element)
        return page
    _leave_out_what_is_for_screens(root)
    page = weasyprint.HTML(string="", url_fetcher=fetcher)
    page.wrapper_element = ElementWrapper.from_html_root(root, content_language=None)
    page.etree_element = page.wrapper_element.etree_element
    return page


def _leave_out_what_is_for_screens(root: "Element") -> None:
    """Take out what the style sheet would not print, before it is styled; text after it stays."""
    for parent in root.iter():
        for at, child in reversed(list(enumerate(parent))):
            if "screen-only" in child.get("class", "").split():
                if child.tail and at:
                    parent[at - 1].tail = (parent[at - 1].tail or "") + child.tail
                elif child.tail:
                    parent.text = (parent.text or "") + child.tail
                parent.remove(child)
