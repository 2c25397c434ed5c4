"""Text as a page may show it: what cannot be seen is made visible, what is too long is cut and says so."""

import re
import unicodedata

PIECE = 10
LONG_WORD = 22
_PIECES = re.compile(rf"[^-_/.,]{{1,{PIECE}}}[-_/.,]?|[-_/.,]{{1,{PIECE}}}")
_SENTENCE_END = re.compile(r"[.!?](?=\s+[A-Z0-9“])")
_JOINERS = frozenset("\u200c\u200d\u00ad")
_BREAKS = frozenset("\t\n\r\v\f\x85\u2028\u2029")
_HIDDEN_CATEGORIES = frozenset(("Cc", "Cf", "Cs", "Cn"))


def visible(text: str) -> str:
    """The text with line breaks as spaces and every control, bidi or other unseen character spelled out.

    An escape character becomes the four letters `\\x1b`, so that neither a terminal nor a reader is fooled.
    """
    if text.isprintable():
        return text
    return "".join(_seen(character) for character in text)


def shorten(text: str, limit: int) -> str:
    """At most `limit` characters, the last an ellipsis where something was cut."""
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def sentences(text: str, limit: int) -> str:
    """As many whole sentences as fit; where not even the first does, it is cut behind a clause or a word."""
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
    """The text cut where a line may break inside words too long for a table cell; joined, the same text.

    A cut falls behind a hyphen, slash or the like where there is one, else after `PIECE` characters.
    """
    parts = [""]
    for word in re.split("( )", text):
        first, *rest = _PIECES.findall(word) if len(word) > LONG_WORD else [word]
        parts[-1] += first
        parts.extend(rest)
    return parts


def counted(number: int, one: str, many: str = "") -> str:
    """`1 row`, `2 rows`."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def _seen(character: str) -> str:
    if character in _BREAKS:
        return " "
    if character in _JOINERS or unicodedata.category(character) not in _HIDDEN_CATEGORIES:
        return character
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
