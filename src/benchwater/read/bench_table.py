"""One table of bench.toml: checked values, and every fault with its line and the line as it could be."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date
from functools import cached_property
from typing import Any, cast

from benchwater.read.names import MOST_NAMED, same_name
from benchwater.read.toml_lines import Path, first_lines, key_lines, to_toml
from benchwater.text import near_names, quoted
from benchwater.units import Dimension, QuantityError, read_quantity

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
        """Note what is wrong with the file's text."""
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
        """Raise BenchError with one line for each fault, in order of line, if there is any."""
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

    def fault(self, key: str, why: str, instead: str | None = None) -> None:
        """Note what is wrong with one key; `instead` is its value as TOML as it could be written."""
        path = (*self.path, key)
        self._faults.add(path, why, None if instead is None else self._faults.written_with(path, instead))

    def value(self, key: str) -> Any:
        """What the file says under a key, unchecked; None where it says nothing."""
        self._asked.add(key)
        return self._data.get(key)

    def has(self, key: str) -> bool:
        """Whether the file says anything under this key."""
        return key in self._data

    def written_keys(self) -> list[str]:
        """The keys that are there."""
        return list(self._data)

    def names(self, key: str) -> list[str]:
        """The names of the entries under `[key.NAME]`."""
        return self.table(key).written_keys()

    def entry(self, key: str, name: str) -> "BenchTable":
        """The table `[key.name]`."""
        return BenchTable(self._data[key][name], (*self.path, key, name), self._faults)

    def take_all(self) -> Mapping[str, Any]:
        """Everything in this table, unchecked."""
        return cast(Mapping[str, Any], self._data)

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
        if value is not None and not isinstance(value, str):
            self.fault(key, f"is {value!r}, and a text in quotation marks is needed", to_toml(str(value)))
            return None
        return value

    def day(self, key: str, *, required: bool = False) -> date | None:
        """A day, as a TOML date or as a text such as `2026-06-01`."""
        value = self._get(key, required)
        if value is None:
            return None
        try:
            return value if type(value) is date else date.fromisoformat(value)
        except (TypeError, ValueError):
            self.fault(key, f"is {value!r}, and a day is needed", to_toml("2026-06-01"))
            return None

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, empty where there is none; a single text is a list of one."""
        value = self.value(key)
        if value is None:
            return ()
        values = [value] if isinstance(value, str) else value
        if not isinstance(values, list) or not all(isinstance(entry, str) for entry in values):
            self.fault(key, f"is {value!r}, and a list of texts is needed", f"[{to_toml(str(value))}]")
            return ()
        return tuple(values)

    def choice(
        self,
        key: str,
        allowed: Sequence[str],
        *,
        required: bool = False,
        also: Mapping[str, str] = {},
    ) -> str | None:
        """One of a few words, or what `also` says for another."""
        value = self.text(key, required=required)
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
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= most:
            found = re.search(r"[0-9]+(?:[.,][0-9]+)?", str(value))
            better = found[0].replace(",", ".") if found else None
            up_to = f" and at most {most:g}" if isinstance(value, int | float) and value > most else ""
            self.fault(key, f"is {value!r}, and a number of 0 or more{up_to} is needed", better)
            return None
        return float(value)

    def whole(self, key: str, *, default: int, least: int) -> int:
        """A whole number of at least `least`."""
        value = self.value(key)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            found = re.search(r"[1-9][0-9]*", str(value))
            why = f"is {value!r}, and a whole number of {least} or more is needed"
            self.fault(key, why, found[0] if found else str(least))
            return default
        return value

    def yes_or_no(self, key: str) -> bool | None:
        """True or false, None where the file says neither."""
        value = self.value(key)
        if value is not None and not isinstance(value, bool):
            better = "false" if str(value).casefold() in {"no", "n", "false", "0", "none"} else "true"
            why = f"is {value!r}, and `true` or `false` is needed, without quotation marks"
            self.fault(key, why, better)
            return None
        return value

    def share(self, key: str) -> float | None:
        """A share between 0 and 1, written `0.05` or `5 %`."""
        value = self.value(key)
        if value is None:
            return None
        share = value
        if isinstance(value, str) and re.fullmatch(r"\s*[0-9.]*[0-9]\s*%\s*", value):
            share = float(value.strip().removesuffix("%")) / 100
        if isinstance(share, bool) or not isinstance(share, int | float) or not 0 <= share <= 1:
            found = re.search(r"[0-9]+(?:\.[0-9]+)?", str(value))
            why = f"is {value!r}, and a share such as `5 %` or 0.05 is needed"
            self.fault(key, why, to_toml(f"{found[0] if found else 5} %"))
            return None
        return float(share)

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
        text = value if isinstance(value, str) else f"{value}"
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            self.fault(key, f"is {value!r}, and a quantity is needed", to_toml(_EXAMPLE[dimension]))
            return None
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

    def close(self) -> None:
        """Refuse keys that nobody asked for."""
        for key in self._data:
            if key not in self._asked:
                known = sorted(self._asked)
                near = near_names(str(key), known)
                hint = f"; did you mean `{near[0]}`?" if near else f" (known: {quoted(known)})"
                self.fault(str(key), f"is not a key that benchwater knows here{hint}")

    def needs(self, key: str, example: str = "") -> None:
        """Note that a key is not there."""
        self._faults.add(self.path, f"needs a key `{key}`{example}")

    def _get(self, key: str, required: bool) -> Any:
        value = self.value(key)
        if required and value is None:
            self.needs(key)
        return value


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
