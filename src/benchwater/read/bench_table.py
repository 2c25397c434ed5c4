"""bench.toml as text and as tables: lines of keys, checked values, faults with the line as it could be."""

import json
import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import date
from functools import cached_property
from typing import Any

from benchwater.read.names import MOST_NAMED, same_name
from benchwater.text import did_you_mean, near_names, quoted
from benchwater.units import Dimension, QuantityError, read_quantity

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
FILE_NAME = "bench.toml"
CURRENCY_MARKS: Mapping[str, str] = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}
_CURRENCY_WORDS = {"dollar": "USD", "dollars": "USD", "euro": "EUR", "euros": "EUR", "pounds": "GBP"}
_EXAMPLE: Mapping[Dimension, str] = {
    "mass": "1/8 oz",
    "volume": "8 fl oz",
    "temperature": "350 degF",
    "duration": "20 min",
    "length": "9 in",
    "pieces": "50",
}
_NUMBER = re.compile(r"(?:[0-9]+|[0-9]{1,3}(?:,[0-9]{3})+)(?:\.[0-9]+)?")


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


def currency_code(text: str) -> str | None:
    """The ISO 4217 code that a text spells, by mark, word or code."""
    plain = text.strip()
    code = CURRENCY_MARKS.get(plain) or _CURRENCY_WORDS.get(plain.casefold()) or plain.upper()
    return code if len(code) == 3 and code.isascii() and code.isalpha() else None


class BenchError(ValueError):
    """bench.toml is missing, is not TOML, or says something that cannot be meant."""


class Faults:
    """What is wrong with bench.toml, gathered so that all of it is told at once."""

    def __init__(self, text: str) -> None:
        self.lines = key_lines(text)
        self._texts = text.splitlines()
        self._found: dict[str, int] = {}
        self.tables: list[BenchTable] = []

    @cached_property
    def _first_lines(self) -> Mapping[Path, int]:
        return first_lines(self.lines)

    def add(self, path: Path, why: str, instead: str | None = None) -> None:
        """Note what is wrong at a key; `instead` is the line as it could be written."""
        places = (self._first_lines.get(path[:end]) for end in range(len(path), 0, -1))
        line = next(filter(None, places), None)
        where = f", line {line}" if line is not None else ""
        better = "" if instead is None else f"; write it as `{instead}`"
        message = f"{FILE_NAME}{where}: `{_dotted(path)}`{':' * why.startswith('`')} {why}{better}"
        self._found.setdefault(message, line or 0)

    def add_message(self, message: str, line: int) -> None:
        self._found.setdefault(message, line)

    def written_with(self, path: Path, value: str) -> str:
        """The line of a key with another value, its comment left out."""
        line = self.lines.get(path)
        key = to_toml(str(path[-1]), key=True)
        if line is not None:
            text = self._texts[line - 1]
            if match := re.match(r"\s*([^=]*?)\s*=", text):
                key = match[1]
        return f"{key} = {value}"

    def refuse(self) -> None:
        """Raise BenchError with one line for each fault, in order of line, if there is any.

        A key of a table that nothing has asked for is one.
        """
        for table in self.tables:
            table.refuse_unknown_keys()
        if self._found:
            raise BenchError("\n".join(sorted(self._found, key=lambda text: self._found[text])))


class BenchTable:
    """One table of the file: returns checked values, notes faults, and refuses keys never asked for.

    A value that is refused is returned as if it were not there.
    """

    def __init__(self, data: Any, path: Path, faults: Faults) -> None:
        self.path = path
        self._faults = faults
        self._asked: set[str] = set()
        if not isinstance(data, Mapping):
            faults.add(path, f"is {data!r}, and a table `{{ ... }}` is needed")
            data = {}
        self._data = data
        faults.tables.append(self)

    def fault(self, key: str, why: str, instead: str | None = None) -> None:
        """Note what is wrong with one key; `instead` is its value as TOML as it could be written."""
        path = (*self.path, key)
        self._faults.add(path, why, None if instead is None else self._faults.written_with(path, instead))

    def value(self, key: str) -> Any:
        """What the file says under a key, unchecked; None where it says nothing."""
        self._asked.add(key)
        return self._data.get(key)

    def has(self, key: str) -> bool:
        return key in self._data

    def written_keys(self) -> list[str]:
        """The keys that are there; all of them count as asked for."""
        self._asked.update(self._data)
        return list(self._data)

    def names(self, key: str) -> list[str]:
        """The names of the entries under `[key.NAME]`."""
        return self.table(key).written_keys()

    def entry(self, key: str, name: str) -> "BenchTable":
        """The table `[key.name]`."""
        return BenchTable(self._data[key][name], (*self.path, key, name), self._faults)

    def take_all(self) -> dict[str, Any]:
        """Everything in this table, unchecked."""
        return {key: self._data[key] for key in self.written_keys()}

    def table(self, key: str, *, required: bool = False) -> "BenchTable":
        """The table under a key; an empty one where the file has none."""
        self._asked.add(key)
        if required and key not in self._data:
            self._faults.add_message(f"{FILE_NAME} has no table [{key}]: write a line `[{key}]`", 0)
        return BenchTable(self._data.get(key, {}), (*self.path, key), self._faults)

    def tables(self, key: str) -> "list[BenchTable]":
        """The tables under `[[key]]`."""
        entries = self.value(key)
        if entries is None:
            return []
        if not isinstance(entries, list):
            self.fault(key, "is not a list of tables `[[...]]`")
            return []
        return [
            BenchTable(entry, (*self.path, key, index), self._faults) for index, entry in enumerate(entries)
        ]

    def text(self, key: str, *, required: bool = False) -> str | None:
        """A text, or None where there is none."""
        value = self._get(key, required)
        if value is None or isinstance(value, str):
            return value
        self._refuse(key, "a text in quotation marks is needed", to_toml(str(value)))
        return None

    def day(self, key: str, *, required: bool = False) -> date | None:
        """A day, as a TOML date or as a text such as `2026-06-01`."""
        value = self._get(key, required)
        try:
            return value if value is None or type(value) is date else date.fromisoformat(value)
        except (TypeError, ValueError):
            self._refuse(key, "a day is needed", to_toml("2026-06-01"))
            return None

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, empty where there is none; a single text is a list of one."""
        value = self.value(key)
        values = [] if value is None else [value] if isinstance(value, str) else value
        if isinstance(values, list) and all(isinstance(entry, str) for entry in values):
            return tuple(values)
        self._refuse(key, "a list of texts is needed", f"[{to_toml(str(value))}]")
        return ()

    def choice(self, key: str, allowed: Sequence[str], also: Mapping[str, str] = {}) -> str | None:
        """One of a few words, or what `also` says for another."""
        value = self.text(key)
        if value is None:
            return None
        plain = " ".join(value.split()).casefold()
        meant = plain if plain in allowed else also.get(plain)
        if meant is None:
            near = near_names(value, allowed)
            self.fault(key, f"`{value}` is not one of {quoted(allowed)}", to_toml((near or allowed)[0]))
        return meant

    def number(self, key: str, most: float = 1e12) -> float | None:
        """A number from 0 to `most`; money may be a text such as `$24.00`."""
        value = self.value(key)
        if isinstance(value, str):
            bare = value.strip("".join(CURRENCY_MARKS) + " ")
            value = float(bare.replace(",", "")) if _NUMBER.fullmatch(bare) else value
        if value is None or (_is_number(value) and 0 <= value <= most):
            return None if value is None else float(value)
        found = re.search(r"[0-9]+(?:[.,][0-9]+)?", str(value))
        too_large = isinstance(value, int | float) and value > most
        up_to = f" and at most {most:g}" if too_large else ""
        better = found[0].replace(",", ".") if found and not too_large else None
        self._refuse(key, f"a number of 0 or more{up_to} is needed", better)
        return None

    def whole(self, key: str, *, default: int, least: int) -> int:
        """A whole number of at least `least`."""
        value = self.value(key)
        if value is None or (_is_number(value) and isinstance(value, int) and value >= least):
            return default if value is None else value
        found = re.search(r"[1-9][0-9]*", str(value))
        self._refuse(key, f"a whole number of {least} or more is needed", found[0] if found else str(least))
        return default

    def yes_or_no(self, key: str) -> bool | None:
        """True or false, None where the file says neither."""
        value = self.value(key)
        if value is None or isinstance(value, bool):
            return value
        better = "false" if str(value).casefold() in {"no", "n", "false", "0", "none"} else "true"
        self._refuse(key, "`true` or `false` is needed, without quotation marks", better)
        return None

    def share(self, key: str, default: float) -> float:
        """A share between 0 and 1, written `0.05` or `5 %`."""
        value = self.value(key)
        share = default if value is None else value
        if isinstance(value, str) and re.fullmatch(r"\s*[0-9.]*[0-9]\s*%\s*", value):
            share = float(value.strip().removesuffix("%")) / 100
        if _is_number(share) and 0 <= share <= 1:
            return float(share)
        found = re.search(r"[0-9]+(?:\.[0-9]+)?", str(value))
        better = to_toml(f"{found[0] if found else 5} %")
        self._refuse(key, "a share such as `5 %` or 0.05 is needed", better)
        return default

    def quantity(
        self,
        key: str,
        dimension: Dimension,
        bare_unit: str | None,
        *,
        required: bool = False,
        density: float | None = None,
    ) -> float | None:
        """A quantity in its canonical unit; a bare number is in `bare_unit`."""
        value = self._get(key, required)
        if value is None:
            return None
        if not isinstance(value, str) and not _is_number(value):
            self._refuse(key, "a quantity is needed", to_toml(_EXAMPLE[dimension]))
            return None
        text = str(value)
        try:
            return read_quantity(text, dimension, default_unit=bare_unit)
        except QuantityError as refusal:
            if density is not None and dimension == "mass":
                try:
                    return read_quantity(text, "volume", default_unit=None) * density
                except QuantityError:
                    pass
            self.fault(key, f"`{text}` {refusal}", to_toml(_EXAMPLE[dimension]))
            return None

    def density(self, key: str) -> float | None:
        """A density in g/mL, written `1.08 g/mL` or as a bare number."""
        value = self.value(key)
        if value is None:
            return None
        text = str(value).lower().replace(" ", "").removesuffix("g/ml").removesuffix("g/cm3")
        try:
            density = float(text)
        except ValueError:
            density = 0.0
        if not 0.1 <= density <= 25:
            self.fault(key, f"`{value}` is not a density", to_toml("1.08 g/mL"))
            return None
        return density

    def known(self, key: str, known: Collection[str], what: str, *, required: bool = False) -> str | None:
        """A name that must exist elsewhere on the bench, in any spelling of its words."""
        value = self.text(key, required=required)
        return None if value is None else self.known_name(key, value, known, what)

    def known_name(
        self,
        key: str,
        value: str,
        known: Collection[str],
        what: str,
        written: Callable[[str], str] = to_toml,
    ) -> str | None:
        """The name that a text under a key spells; `written` gives the key's value with a name in it."""
        found = value if value in known else same_name(value, known)
        if found is None:
            near = near_names(value, known)
            better = written(near[0]) if near else None
            self.fault(key, unknown(value, known, what), better)
        return found

    def refuse_unknown_keys(self) -> None:
        """Note as a fault each key that nothing has asked for."""
        for key in self._data:
            if key not in self._asked:
                known = sorted(self._asked)
                hint = did_you_mean(str(key), known, f"known: {quoted(known)}")
                self.fault(str(key), f"is not a key that benchwater knows here{hint}")

    def needs(self, key: str, example: str = "") -> None:
        self._faults.add(self.path, f"needs a key `{key}`{example}")

    def _refuse(self, key: str, needed: str, better: str | None) -> None:
        self.fault(key, f"is {self.value(key)!r}, and {needed}", better)

    def _get(self, key: str, required: bool) -> Any:
        value = self.value(key)
        if required and value is None:
            self.needs(key)
        return value


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def unknown(name: str, known: Collection[str], what: str) -> str:
    """The sentence for a name that is not in the file, with the nearest ones that are."""
    near, there_are = near_names(name, known, most=2), f"there are {quoted(known, MOST_NAMED)}"
    hint = f"nearest: {quoted(near)}" if near else there_are if known else "there are none"
    return f"names `{name}`, which is not {what} in this file ({hint})"


def _dotted(path: Path) -> str:
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")
