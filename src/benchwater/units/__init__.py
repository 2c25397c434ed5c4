"""Units: where quantities enter and leave. The only place that knows pint."""

from benchwater.units.display import DASH, figures, heading_unit, show, show_bare
from benchwater.units.quantities import (
    QUANTITIES,
    Dimension,
    Quantity,
    QuantityError,
    is_quantity,
    read_number,
    read_quantity,
    unit_spellings,
)

__all__ = [
    "DASH",
    "QUANTITIES",
    "Dimension",
    "Quantity",
    "QuantityError",
    "figures",
    "heading_unit",
    "is_quantity",
    "read_number",
    "read_quantity",
    "show",
    "show_bare",
    "unit_spellings",
]
