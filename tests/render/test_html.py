"""The HTML is self-contained, well formed for assistive technology, and takes no text for markup."""

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from benchwater.analyse.report import Report
from benchwater.render.html import MOST_LISTED, MOST_ON_PAPER, render_html, render_paper
from render.sample_report import HOSTILE, LONG_WORD, hostile_report, sample_report

VOID = {"meta", "img", "br", "wbr"}


class Outline(HTMLParser):
    """Tags with their attributes, headings in order, and the text outside of style sheets."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.styles: list[str] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in VOID
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        (self.styles if self.open and self.open[-1] == "style" else self.words).append(data)

    @property
    def text(self) -> str:
        return "".join(self.words)


def test_it_needs_nothing_but_itself(html: str) -> None:
    page = Outline(html)
    assert page.open == []
    assert {tag for tag, _ in page.tags} & {
        "script",
        "link",
        "iframe",
        "object",
        "base",
        "form",
        "svg",
    } == set()
    policies = [attrs.get("content") for _, attrs in page.tags if "http-equiv" in attrs]
    assert policies == [
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    ]
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.tags:
        assert not [name for name in attrs if name.startswith("on") or name == "style"]
        assert (attrs.get("src") or "data:").startswith("data:image/svg+xml;base64,") or "src" not in attrs
        if "href" in attrs:
            assert (attrs["href"] or "").removeprefix("#") in ids
    assert all(url.startswith('"data:') for style in page.styles for url in re.findall(r"url\((.{6})", style))


def test_it_reads_well_aloud(html: str) -> None:
    page = Outline(html)
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert all(attrs.get("alt") for tag, attrs in page.tags if tag == "img")
    assert all(attrs.get("scope") in ("col", "row") for tag, attrs in page.tags if tag == "th")
    assert ("html", {"lang": "en"}) in page.tags


def test_the_front_page_ranks_and_the_sections_say_how_sure_they_are(html: str) -> None:
    text = Outline(html).text
    todo = text[text.index("What to do next") : text.index("What each section found")]
    order = [
        "Keep the pot below",
        "Pour four warm-up",
        "Open the vent",
        "Tie a leader",
        "Weigh the soft lead",
    ]
    assert sorted(order, key=todo.index) == order
    assert "Safety" in todo
    assert "worth about $38" in todo
    assert "worth about 6 baits" in todo
    for words in (
        "487 of 494 rows from 3 files used, 3 repeated elsewhere, 4 set aside.",
        "a month a mark, from zero up",
        "Season to date: 1 March to 31 May 2026",
        "95 % interval 340 to 367 °F, n = 96",
        "Thin data Nine losses are too few to compare leaders.",
        "No data The coat log holds no row",
        "Failed ZeroDivisionError",
        "And 18 more rows in season-report.json.",
        "Only in season-report.json: The fitted curve (12 rows).",
        "Purchases not logged: none.",
        "0.90 was taken",
        "it needs 'ephem'",
    ):
        assert words in text, words
    assert text.count("The coat log holds no row") == 2  # at a glance and in its section, not once a span


def test_the_front_page_shows_the_period_against_the_one_before(html: str) -> None:
    text = " ".join(Outline(html).text.split())
    glance = text[text.index("At a glance") : text.index("What to do next")]
    for words in (
        "At a glance May",
        "castings made 96 nothing logged in April 216 this season",
        "first-pass yield 91 % up from 83 % in April 83 % this season",
        "saved to date $130 up from $48.25 in April",
        "fish per hour 1.0 down from 1.3 in April 1.1 this season",
    ):
        assert words in glance, words
    alts = [attrs["alt"] for tag, attrs in Outline(html).tags if attrs.get("class") == "spark"]
    assert alts[0] == "Castings made by month: March 120, April –, May 96."
    said = text[text.index("What the data cannot say") :]
    assert said.startswith(
        "What the data cannot say. Bait mortality, May 2026: Nine losses are too few to compare leaders. "
        "Finishing: The coat log holds no row up to 31 May 2026."
    )


def test_what_the_front_page_cuts_is_whole_in_its_section(report: Report) -> None:
    reason = "One reason, told at length so that it does not fit, and with a second half that matters: this."
    first = report.sections[0]
    action = replace(first.parts[-1].section.actions[0], because=reason + " And there is more.")
    part = replace(first.parts[-1], section=replace(first.parts[-1].section, actions=(action,)))
    ranked = replace(report.actions[1], action=action, section_id=first.id)
    made = replace(
        report,
        sections=(replace(first, parts=(first.parts[0], part)), *report.sections[1:]),
        actions=(ranked,),
    )
    text = Outline(render_html(made)).text
    assert text.count("And there is more.") == 1
    assert text.count("with a second half") == 2


def test_what_is_not_there_is_said() -> None:
    bare = replace(
        sample_report(),
        sections=(),
        actions=(),
        sources=(),
        set_aside=(),
        repeats=(),
        not_read=(),
        plugin_problems=(),
    )
    text = Outline(render_html(bare)).text
    for sentence in (
        "The logs hold too little yet to advise anything.",
        "No analysis is loaded.",
        "No log was read.",
        "No row was set aside.",
        "No row came twice.",
        "Every file in the folder was read.",
        "Every plugin loaded.",
    ):
        assert sentence in text


def test_the_appendix_on_paper_is_short_and_says_where_the_rest_is(report: Report) -> None:
    aside = [replace(report.set_aside[0], file=f"log-{n}.csv") for n in range(MOST_ON_PAPER + 4)]
    made = replace(report, set_aside=tuple(aside))
    on_paper, on_screen = Outline(render_paper(made)).text, Outline(render_html(made)).text
    assert f"log-{MOST_ON_PAPER + 3}.csv" in on_screen
    assert f"log-{MOST_ON_PAPER - 1}.csv" in on_paper
    assert f"log-{MOST_ON_PAPER}.csv" not in on_paper
    assert "And 4 more rows in season-report.html." in on_paper
    assert report.sources[0].sha256[:12] in on_screen
    assert report.sources[0].sha256[:12] not in on_paper
    many = tuple(replace(aside[0], value=str(n)) for n in range(MOST_LISTED + 5))
    assert (
        "And 5 more rows in season-report.json." in Outline(render_html(replace(report, set_aside=many))).text
    )


def test_how_numbers_were_made_is_one_annex_of_the_html(html: str, paper: str, report: Report) -> None:
    text = Outline(html).text
    annex = text[text.index("How these numbers were made") :]
    for section in report.sections:
        for part in section.parts:
            assert all(method in annex for method in part.section.methods)
            assert not any(method in Outline(paper).text for method in part.section.methods)
    assert "How each number was made" in Outline(paper).text


def test_sections_are_folded_but_for_their_answer(html: str, report: Report) -> None:
    folded = html.split("<details>")[1:]
    assert len(folded) == len(report.sections) + 1
    for section, text in zip(report.sections, folded, strict=False):
        summary = Outline(text[: text.index("</summary>")].replace("<summary>", "")).text
        assert section.title in summary
        assert len(summary) > len(section.title) + 20
        assert 'href="#section-' in html[: html.index("</nav>")]


@pytest.mark.parametrize("text", [HOSTILE, LONG_WORD, "   "])
def test_text_is_text_in_every_field(text: str, html: str) -> None:
    hostile = render_html(hostile_report(text))
    page, harmless = Outline(hostile), Outline(html)
    assert page.open == []
    assert {tag for tag, _ in page.tags} - {"wbr", "q"} <= {tag for tag, _ in harmless.tags}
    assert page.styles == harmless.styles
    assert all(character.isprintable() or character == "\n" for character in hostile)
    if text == HOSTILE:
        assert page.text.count("{{ 7*7 }}{% raw %}</style>") > 40
        assert "\\x1b[31mred" in page.text
        assert "\\u202egnp.exe" in page.text
        assert "\\x00\\ud800" in page.text
    assert max(map(len, page.words)) <= 1400
