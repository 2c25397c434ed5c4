"""Values, spans and sentences as the page and the JSON twin write them."""

import math
import re
from datetime import date, datetime, time, timedelta
from typing import cast

from benchwater.plugin.season import Span
from benchwater.plugin.section import Cell
from benchwater.words import MONTHS, shorten

PIECE = 10
LONG_WORD = 22
_PIECES = re.compile(rf"[^-_/.,]{{1,{PIECE}}}[-_/.,]?|[-_/.,]{{1,{PIECE}}}")
_SENTENCE_END = re.compile(r"[.!?](?=\s+[A-Z0-9“])")
_MISSING = frozenset(("NaTType", "NAType"))


def sentences(text: str, limit: int) -> str:
    """Return as many whole sentences as fit; if not even the first does, cut it after a clause or a word."""
    if len(text) <= limit:
        return text
    ends = [match.end() for match in _SENTENCE_END.finditer(text) if match.end() <= limit]
    if ends:
        return text[: ends[-1]]
    clauses = [match.start() for match in re.finditer("[,;:](?= )| (?=[(])", text[:limit])]
    marks = [at for at in clauses if at >= limit // 2 and text.count("(", 0, at) == text.count(")", 0, at)]
    cut = marks[-1] if marks else text.rfind(" ", limit // 2, limit)
    return text[:cut].rstrip() + "…" if cut > 0 else shorten(text, limit)


def pieces(text: str) -> list[str]:
    """Split the text where a line may break in words too long for a table cell; joined, the same text.

    Breaks follow a hyphen, slash or the like, else `PIECE` characters.
    """
    parts = [""]
    for word in re.split("( )", text):
        first, *rest = _PIECES.findall(word) if len(word) > LONG_WORD else [word]
        parts[-1] += first
        parts.extend(rest)
    return parts


def plain(value: object) -> Cell:
    """Return a pandas or numpy value as str, int, float, bool or date; None if missing or not finite."""
    if value is None or type(value).__name__ in _MISSING:
        return None
    if isinstance(value, bool | str):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, datetime):
        moment = value.replace(tzinfo=None)
        return moment.date() if moment.time() == time() else _python_datetime(moment)
    if isinstance(value, date | int):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "item"):
        return plain(cast("object", value.item()))
    return str(value)


def iso(day: date) -> str:
    """Return a date as `2026-05-03`, with its time to the minute if it has one (to the second if needed)."""
    if not isinstance(day, datetime):
        return day.isoformat()
    return day.isoformat(sep="T", timespec="auto" if day.second or day.microsecond else "minutes")


def span_title(span: Span) -> str:
    """Return `May 2026` for a month, `Season to date: 1 March to 31 May 2026` for a season."""
    last = span.end - timedelta(days=1)
    if span.name == "season":
        return f"Season to date: {_first_to_last(span.start, last)}"
    if (
        span.start.day == 1
        and span.end.day == 1
        and (span.start.month, span.start.year) == (last.month, last.year)
    ):
        return f"{MONTHS[last.month - 1]} {last.year}"
    return _first_to_last(span.start, last)


def month_name(day: date) -> str:
    """Return `May`."""
    return MONTHS[day.month - 1]


def months_in_words(span: Span) -> str:
    """Return `June and July`, or `July` where the span is of one month."""
    first, last = month_name(span.start), month_name(span.end - timedelta(days=1))
    return first if first == last else f"{first} and {last}"


def _python_datetime(moment: datetime) -> datetime:
    return datetime.combine(moment.date(), moment.time())


def _first_to_last(first: date, last: date) -> str:
    year = f" {first.year}" if first.year != last.year else ""
    return f"{first.day} {MONTHS[first.month - 1]}{year} to {last.day} {MONTHS[last.month - 1]} {last.year}"
