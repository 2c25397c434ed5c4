"""What a maker may set for an analysis in bench.toml, under `[plugins.ID]`. The host checks every value."""

from dataclasses import dataclass
from typing import Literal

from benchwater.plugin.field_types import refuse_wrong_types

OptionKind = Literal[
    "text",
    "texts",
    "number",
    "whole",
    "yes_no",
    "word",
    "temperature",
    "mass",
    "duration",
    "length",
    "volume",
]
OptionValue = str | float | int | bool | tuple[str, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One option: what it is called in bench.toml, what it means to the maker, and what it is left out as.

    `kind` says how the value is read, and what `Season.options` gives for it:

    - `text` a str; `texts` a tuple of them; `word` one of `words`; `yes_no` a bool (`true` or `"yes"`);
    - `number` a float, `whole` an int, both between `least` and `most` where these are given;
    - `temperature`, `mass`, `duration`, `length`, `volume` a quantity with its unit (`"55 F"`), given in
      degC, g, h, mm, mL.

    `default` is what the analysis gets where the maker says nothing: in the canonical unit, or None.
    """

    name: str
    meaning: str
    kind: OptionKind
    default: OptionValue = None
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None

    def __post_init__(self) -> None:
        """Refuse fields of another type."""
        refuse_wrong_types(self)
