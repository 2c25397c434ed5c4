"""The typeface of the printed report and of its plots: Open Sans, unchanged (see the README here)."""

from pathlib import Path
from typing import Literal, NamedTuple

FAMILY = "Benchwater Sans"


class Face(NamedTuple):
    """One font file, with the weight and style it stands for under the name `FAMILY`."""

    path: Path
    weight: int
    style: Literal["normal", "italic"]


_HERE = Path(__file__).parent

FACES = (
    Face(_HERE / "OpenSans-Regular.ttf", 400, "normal"),
    Face(_HERE / "OpenSans-Italic.ttf", 400, "italic"),
    Face(_HERE / "OpenSans-Semibold.ttf", 600, "normal"),
    Face(_HERE / "OpenSans-Bold.ttf", 700, "normal"),
)
