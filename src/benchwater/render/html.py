"""The report as HTML: one file for the browser, without scripts or requests, and the page that is printed."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from markupsafe import Markup

from benchwater.analyse.report import Report
from benchwater.read.outcome import SetAside
from benchwater.render.cards import card_rows
from benchwater.render.page import compose
from benchwater.render.paper import paper_sections
from benchwater.render.sections import section_methods, section_views
from benchwater.render.text import LONG_WORD, pieces
from benchwater.sheets.layout import cut
from benchwater.words import MONTHS, runs, shorten, visible

if TYPE_CHECKING:
    from jinja2 import Environment
_TEMPLATES = Path(__file__).parent / "templates"
MOST_LISTED, MOST_ON_PAPER = 300, 12
_LONGEST_NAME = 160
_UNBROKEN = re.compile(
    rf"\d{{1,2}} (?:{'|'.join(MONTHS)})"
    r"|[knp] [=<] [\d.]*\d|[A-Z]{3} [−-]?\d[\d.,]*"
    r"|[−±-]?\d[\d.,]* (?:%|°[CF]|in|oz|fl oz|lb|kg|g|h|min|mm|mL|L)(?:/\w+)?(?!\w)"
    rf"|(?<![\w/.-])(?=[\w./-]{{3,{LONG_WORD}}}(?![\w/-]))[^\W\d_]\w*(?:[./-]\w+)+"
)
_LONGEST_SENTENCE = 1200
MOST_RUNS = 12


class EqualRows(NamedTuple):
    """Rows of one file with the same cell and reason: `lines` are their ranges, `rows` their number."""

    file: str
    lines: str
    rows: int
    column: str
    value: str
    why: str


def render_html(report: Report, attached: Collection[str] = ()) -> str:
    """Return the report as one HTML document, its plots embedded as images and its sections folded.

    `attached` names the log files that the PDF carries, which the appendix says.
    """
    return _rendered("report.html.j2", report, attached, section_views(report), paper=False)


def render_paper(report: Report, attached: Collection[str] = ()) -> str:
    """Return what is printed of the report, as an HTML document for `print_report`."""
    return _rendered("paper.html.j2", report, attached, paper_sections(report), paper=True)


def _rendered(
    template: str, report: Report, attached: Collection[str], sections: Sequence[object], *, paper: bool
) -> str:
    set_aside, most_listed = group_equal_rows(report.set_aside), MOST_ON_PAPER if paper else MOST_LISTED
    shown = sorted(most_frequent(set_aside, most_listed))
    return (
        environment()
        .get_template(template)
        .render(
            paper=paper,
            report=report,
            bench=report.bench,
            page=compose(report),
            card_rows=card_rows(report),
            sections=sections,
            set_aside=[set_aside[index] for index in shown],
            set_aside_left=len(report.set_aside) - sum(set_aside[index].rows for index in shown),
            cells_set_aside=group_equal_rows(report.cells_set_aside),
            methods=[(section.title, section_methods(section)) for section in report.sections],
            most_listed=most_listed,
            attached=frozenset(attached),
        )
    )


def group_equal_rows(set_aside: Iterable[SetAside]) -> list[EqualRows]:
    """Return rows set aside, grouped by file, column, cell and reason, in the order of their first rows."""
    lines_of: defaultdict[tuple[str, str, str, str], list[int]] = defaultdict(list)
    for row in set_aside:
        lines_of[row.file, row.column, row.value, row.why].append(row.line)
    return [
        EqualRows(file, _runs(lines), len(lines), column, value, why)
        for (file, column, value, why), lines in lines_of.items()
    ]


def most_frequent(groups: Sequence[EqualRows], most: int) -> frozenset[int]:
    """Return the indices of the `most` largest groups; of equal ones the first."""
    return frozenset(sorted(range(len(groups)), key=lambda index: -groups[index].rows)[:most])


def _runs(lines: list[int]) -> str:
    ranges = runs(lines).split(", ")
    more = f" and {len(ranges) - MOST_RUNS} more" if len(ranges) > MOST_RUNS else ""
    return ", ".join(ranges[:MOST_RUNS]) + more


def compile_templates() -> None:
    """Compile all templates, so that the first page renders fast."""
    for name in environment().list_templates(["j2"]):
        environment().get_template(name)


@cache
def environment() -> "Environment":
    """Return the environment of all templates; it escapes, makes visible and shortens what they print."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters |= {"name": _name, "cell": _cell, "sentence": _sentence}
    made.filters |= {"cut": lambda text, most: cut(visible(text), most), "breaking": _breaking}
    made.tests["in_one_piece"] = _in_one_piece
    return made


def _name(text: str) -> str:
    """Return a title, label or file name, cut at `_LONGEST_NAME` characters."""
    return shorten(visible(text), _LONGEST_NAME)


def _cell(text: str) -> Markup:
    """Return escaped text with break points in long words, so that no cell is wider than the page.

    A number stays with its unit, and a name of up to `LONG_WORD` letters in one line.
    """
    shown, unbroken = shorten(visible(text), _LONGEST_SENTENCE), Markup('<span class="whole">{}</span>')
    markup, end = Markup(""), 0
    for found in _UNBROKEN.finditer(shown):
        markup += Markup("<wbr/>").join(pieces(shown[end : found.start()])) + unbroken.format(found[0])
        end = found.end()
    return markup + Markup("<wbr/>").join(pieces(shown[end:]))


def _in_one_piece(text: str) -> bool:
    """Return whether a cell is one number with its unit, or one name: its whole cell is then unbroken."""
    found = _UNBROKEN.match(text)
    return found is not None and found.end() == len(text) and text.isprintable()


def _sentence(text: str) -> Markup:
    """Return escaped text with what is in `backticks` set as code."""
    parts = text.split("`")
    if len(parts) % 2 == 0:
        return _cell(text)
    code, cells = Markup('<span class="code">{}</span>'), [_cell(part) for part in parts]
    return Markup("").join(code.format(part) if index % 2 else part for index, part in enumerate(cells))


def _breaking(text: str) -> Markup:
    """Return escaped text with a break point every 11 letters, so that a heading fits its column."""
    return Markup("<wbr>").join(re.findall(r"\S{1,11}\s*", visible(text)))


def _shown(value: object) -> object:
    """Make visible and shorten every value a template prints, before it is escaped; markup stays as it is."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return shorten(visible(value), _LONGEST_SENTENCE)
    return value
