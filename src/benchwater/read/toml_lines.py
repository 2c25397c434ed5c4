"""Finds the line of each key in a TOML text, for messages; `tomllib` does the parsing."""

import re
from collections.abc import Mapping

_TABLE = re.compile(r"\s*\[\[?\s*(?P<path>[^\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(
    r"\s*(?P<path>(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+))*)\s*="
)
_PART = re.compile(r"\"([^\"]*)\"|'([^']*)'|([^.\s]+)")

Path = tuple[str | int, ...]


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


def nearest_line(lines: Mapping[Path, int], path: Path) -> int | None:
    """The line of a key, of the first thing inside it, or of the closest thing around it that has one."""
    within = [line for known, line in lines.items() if known[: len(path)] == path]
    if within:
        return min(within)
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def _parts(path: str) -> Path:
    return tuple(next(part for part in match if part) if any(match) else "" for match in _PART.findall(path))
