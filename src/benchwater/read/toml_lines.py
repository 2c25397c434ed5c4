"""Parses TOML and explains what it refuses; finds the line of each key, for messages."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

_TABLE = re.compile(r"\s*\[\[?\s*(?P<path>[^\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(
    r"\s*(?P<path>(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+))*)\s*="
)
_PART = re.compile(r"\"([^\"]*)\"|'([^']*)'|([^.\s]+)")

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PLACE = re.compile(r" \(at (?:line (?P<line>[0-9]+), column [0-9]+|end of document)\)")
_PATH_OF_TABLE, _PART_OF_PATH = re.compile(r"\('[^()]*'[^()]*\)"), re.compile("'([^']*)'")
_MOST_REFUSALS = 20
_CURLY = str.maketrans({"“": '"', "”": '"', "„": '"', "‘": "'", "’": "'"})

Path = tuple[str | int, ...]


def to_toml(text: str, *, key: bool = False) -> str:
    """A text as TOML: in quotation marks, unless it is a key that needs none."""
    return text if key and _BARE.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def parse_toml(text: str) -> tuple[dict[str, Any] | None, str, list[tuple[int, str]]]:
    """What a TOML text says, the text with each refused line corrected, and line and reason of each refusal.

    Nothing is said (None) from where no correction was found; no caller may use what has refusals.
    """
    refusals: list[tuple[int, str]] = []
    for _ in range(_MOST_REFUSALS):
        try:
            return tomllib.loads(text), text, refusals
        except tomllib.TOMLDecodeError as error:
            line, why = _place(str(error), text)
            lines = text.split("\n")
            written = lines[line - 1].strip() if line <= len(lines) else ""
            better = next((each for each in _corrections(written) if _gets_further(lines, line, each)), None)
        if better is None:
            return None, text, [*refusals, (line, f"`{written}` is not valid TOML: {why}")]
        refusals.append((line, f"`{written}` is not valid TOML ({_reason(written)}): write it as `{better}`"))
        text = "\n".join([*lines[: line - 1], better, *lines[line:]])
    return None, text, refusals


def _place(message: str, text: str) -> tuple[int, str]:
    match = _PLACE.search(message)
    line = int(match["line"]) if match and match["line"] else text.rstrip("\n").count("\n") + 1
    why = _PATH_OF_TABLE.sub(
        lambda found: f"[{'.'.join(_PART_OF_PATH.findall(found[0]))}]", _PLACE.sub("", message)
    )
    return line, f"{why[0].lower()}{why[1:]}" if why else "it cannot be read"


def _reason(written: str) -> str:
    if written != written.translate(_CURLY):
        return 'curly quotation marks do not count, only straight ones (")'
    if written.startswith("["):
        return "a name with a space or a sign such as `/` needs quotation marks"
    return "a text needs quotation marks, one before and one after" if "=" in written else "it has no `=`"


def _gets_further(lines: list[str], line: int, better: str) -> bool:
    """Whether a text is valid, or refused further down, with the line replaced."""
    if better == lines[line - 1].strip():
        return False
    text = "\n".join([*lines[: line - 1], better, *lines[line:]])
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return _place(str(error), text)[0] > line
    return True


def _corrections(line: str) -> Iterator[str]:
    """The line as it could have been meant, likeliest first."""
    plain, hash_mark, comment = line.translate(_CURLY).partition(" #")
    rest = f" {hash_mark}{comment}".rstrip() if hash_mark else ""
    plain = plain.strip()
    yield plain + rest
    if plain.startswith("["):
        inner = plain.strip("[] ")
        marks = ("[[", "]]") if plain.startswith("[[") else ("[", "]")
        first, dot, name = inner.partition(".")
        quoted_parts = [to_toml(part.strip("\"' "), key=True) for part in inner.split(".")]
        yield f"{marks[0]}{'.'.join(quoted_parts)}{marks[1]}{rest}"
        if dot:
            yield f"{marks[0]}{first}.{to_toml(name.strip(chr(34) + chr(39) + ' '))}{marks[1]}{rest}"
        return
    key, equals, value = plain.partition("=")
    if not equals:
        key, equals, value = plain.partition(":")
    if not equals:
        yield f"# {plain}{rest}"
        return
    key, value = to_toml(key.strip("\"' "), key=True), value.strip()
    for each in (value, _with_quotes(value), to_toml(value.strip("\"' ,;"))):
        yield f"{key} = {each}{rest}"


def _with_quotes(value: str) -> str:
    """A list or table with quotation marks round each of its bare words."""
    if not value.startswith(("[", "{")):
        return to_toml(value.strip("\"' ,;"))
    closing = {"[": "]", "{": "}"}[value[0]]
    parts = []
    for part in value.strip("[]{} ").split(","):
        key, equals, inner = part.partition("=")
        word = (inner if equals else key).strip()
        known = word in {"true", "false"} or re.fullmatch(r"[0-9.]+", word)
        made = word if known else to_toml(word.strip("\"' "))
        parts.append(f"{to_toml(key.strip(chr(34) + ' '), key=True)} = {made}" if equals else made)
    inner_text = ", ".join(parts)
    return f"[{inner_text}{closing}" if closing == "]" else f"{{ {inner_text} {closing}"


def key_lines(text: str) -> Mapping[Path, int]:
    """Line (from 1) of each table header and key, by path; `[[molds.x.cavities]]` are numbered from 0."""
    lines: dict[Path, int] = {}
    table: Path = ()
    counts: dict[Path, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if match := _TABLE.fullmatch(line):
            table = _parts(match["path"])
            if line.lstrip().startswith("[["):
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            lines.setdefault(table, number)
        elif match := _KEY.match(line):
            lines.setdefault((*table, *_parts(match["path"])), number)
    return lines


def first_lines(lines: Mapping[Path, int]) -> Mapping[Path, int]:
    """The line of each key, table or group of tables where the file first says something in it."""
    found: dict[Path, int] = {}
    for path, line in lines.items():
        for end in range(len(path) + 1):
            found[path[:end]] = min(line, found.get(path[:end], line))
    return found


def _parts(path: str) -> Path:
    return tuple(next(part for part in match if part) if any(match) else "" for match in _PART.findall(path))
