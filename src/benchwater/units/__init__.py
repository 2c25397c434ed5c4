"""Units: where quantities enter and leave. The only place that knows pint."""

from benchwater.units.display import figures, heading_unit, show, show_bare
from benchwater.units.quantities import (
    CANONICAL,
    Dimension,
    QuantityError,
    read_number,
    read_quantity,
    unit_spellings,
)

__all__ = [
    "CANONICAL",
    "Dimension",
    "QuantityError",
    "figures",
    "heading_unit",
    "read_number",
    "read_quantity",
    "show",
    "show_bare",
    "unit_spellings",
]
