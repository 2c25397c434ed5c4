"""The HTML report: one file that needs nothing else, for the browser and for the printer alike."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from benchwater.analyse.report import Report
from benchwater.read.outcome import SetAside
from benchwater.render.page import compose
from benchwater.render.sections import MOST_ADVISED, MOST_FINDINGS
from benchwater.render.text import LONG_WORD, pieces
from benchwater.words import MONTHS, runs, shorten, visible

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

_TEMPLATES = Path(__file__).parent / "templates"
MOST_LISTED, MOST_ON_PAPER = 300, 30
_LONGEST_NAME = 160
_HELD = re.compile(
    rf"\d{{1,2}} (?:{'|'.join(MONTHS)})"
    r"|[knp] [=<] [\d.]*\d|[A-Z]{3} [−-]?\d[\d.,]*"
    r"|[−±-]?\d[\d.,]* (?:%|°[CF]|in|oz|fl oz|lb|kg|g|h|min|mm|mL|L)(?:/\w+)?(?!\w)"
    rf"|(?<![\w/.-])(?=[\w./-]{{3,{LONG_WORD}}}(?![\w/-]))[^\W\d_]\w*(?:[./-]\w+)+"
)
_LONGEST_SENTENCE = 1200
MOST_RUNS = 12


class EqualRows(NamedTuple):
    """Rows of one file with the same cell and reason: `lines` are theirs as runs, `rows` their number."""

    file: str
    lines: str
    rows: int
    column: str
    value: str
    why: str


def render_html(report: Report, attached: Collection[str] = ()) -> str:
    """The report as one HTML document: no script, no request, plots inside as images.

    `attached` are the log files that its PDF carries, for the page to say so.
    """
    set_aside = group_equal_rows(report.set_aside)
    on_paper = most_frequent(set_aside[:MOST_LISTED], MOST_ON_PAPER)
    return (
        _environment()
        .get_template("report.html.j2")
        .render(
            report=report,
            set_aside=set_aside[:MOST_LISTED],
            set_aside_on_paper=on_paper,
            set_aside_off_paper=len(report.set_aside) - sum(set_aside[place].rows for place in on_paper),
            set_aside_left=sum(alike.rows for alike in set_aside[MOST_LISTED:]),
            bench=report.bench,
            page=compose(report),
            most_listed=MOST_LISTED,
            most_on_paper=MOST_ON_PAPER,
            most_findings=MOST_FINDINGS,
            most_advised=MOST_ADVISED,
            attached=frozenset(attached),
        )
    )


def group_equal_rows(set_aside: Iterable[SetAside]) -> list[EqualRows]:
    """All of them, in the order of the first row of each."""
    lines_of: defaultdict[tuple[str, str, str, str], list[int]] = defaultdict(list)
    for row in set_aside:
        lines_of[row.file, row.column, row.value, row.why].append(row.line)
    return [
        EqualRows(file, _runs(lines), len(lines), column, value, why)
        for (file, column, value, why), lines in lines_of.items()
    ]


def most_frequent(groups: Sequence[EqualRows], most: int) -> frozenset[int]:
    """The places of those that took most rows, at most so many; of two alike the first."""
    return frozenset(sorted(range(len(groups)), key=lambda place: -groups[place].rows)[:most])


def _runs(lines: list[int]) -> str:
    told = runs(lines).split(", ")
    more = f" and {len(told) - MOST_RUNS} more" if len(told) > MOST_RUNS else ""
    return ", ".join(told[:MOST_RUNS]) + more


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
    environment.tests["in_one_piece"] = _in_one_piece
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


def _in_one_piece(text: str) -> bool:
    """Whether a cell is one number with its unit, or one name, so that the cell itself can say so."""
    found = _HELD.match(text)
    return found is not None and found.end() == len(text) and text.isprintable()


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
