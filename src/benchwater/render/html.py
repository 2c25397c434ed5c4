"""The HTML report: one file that needs nothing else, for the browser and for the printer alike."""

import re
from collections.abc import Collection
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from benchwater.analyse.report import Report
from benchwater.render.page import compose
from benchwater.render.set_aside import alike_rows
from benchwater.render.text import LONG_WORD, pieces, shorten, visible
from benchwater.words import MONTHS

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

_TEMPLATES = Path(__file__).parent / "templates"
MOST_LISTED = 300
_LONGEST_NAME = 160
_HELD = re.compile(
    rf"\d{{1,2}} (?:{'|'.join(MONTHS)})"
    r"|p [=<] [\d.]*\d|[A-Z]{3} [−-]?\d[\d.,]*"
    r"|[−±-]?\d[\d.,]* (?:%|°[CF]|in|oz|fl oz|lb|kg|g|h|min|mm|mL|L)(?:/\w+)?(?!\w)"
    rf"|(?<![\w/.-])(?=[\w./-]{{3,{LONG_WORD}}}(?![\w/-]))[^\W\d_]\w*(?:[./-]\w+)+"
)
_LONGEST_SENTENCE = 1200


def render_html(report: Report, attached: Collection[str] = ()) -> str:
    """The report as one HTML document: no script, no request, plots inside as images.

    `attached` are the log files that its PDF carries, for the page to say so.
    """
    set_aside = alike_rows(report.set_aside)
    return (
        _environment()
        .get_template("report.html.j2")
        .render(
            report=report,
            set_aside=set_aside[:MOST_LISTED],
            set_aside_left=sum(alike.rows for alike in set_aside[MOST_LISTED:]),
            bench=report.bench,
            page=compose(report),
            most_listed=MOST_LISTED,
            attached=frozenset(attached),
        )
    )


def compile_templates() -> None:
    """Have the templates at hand before they are needed."""
    environment = _environment()
    for name in environment.list_templates(filter_func=_of_the_report):
        environment.get_template(name)


def _of_the_report(template: str) -> bool:
    return template.endswith(".j2") and not template.startswith("sheet")


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["name"] = _name
    environment.filters["cell"] = _cell
    environment.filters["sentence"] = _sentence
    return environment


def _name(text: str) -> str:
    """A title, a label or a file's name, cut where it is absurdly long."""
    return shorten(visible(text), _LONGEST_NAME)


def _cell(text: str) -> "Markup":
    """Escaped text that may break inside its longest words, so that no cell outgrows the page.

    A number stays with its unit, and a name of a fair length in one piece.
    """
    from markupsafe import Markup

    told, held = shorten(visible(text), _LONGEST_SENTENCE), Markup('<span class="whole">{}</span>')
    made, end = Markup(""), 0
    for found in _HELD.finditer(told):
        made += Markup("<wbr/>").join(pieces(told[end : found.start()])) + held.format(found[0])
        end = found.end()
    return made + Markup("<wbr/>").join(pieces(told[end:]))


def _sentence(text: str) -> "Markup":
    """Escaped text in which what stands in `backticks`, to be typed as it is, is set as such."""
    from markupsafe import Markup

    parts = text.split("`")
    if len(parts) % 2 == 0:
        return _cell(text)
    typed, said = Markup('<span class="code">{}</span>'), [_cell(part) for part in parts]
    return Markup("").join(typed.format(part) if odd % 2 else part for odd, part in enumerate(said))


def _shown(value: object) -> object:
    """Every value a template prints passes here, before it is escaped; what is markup already does not."""
    from markupsafe import Markup

    if isinstance(value, str) and not isinstance(value, Markup):
        return shorten(visible(value), _LONGEST_SENTENCE)
    return value
