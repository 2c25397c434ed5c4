"""The conversions written down are those of pint, and no run asks it for one of them."""

import subprocess
import sys

import pytest

from benchwater.units.quantities import ask_pint, conversion, known_conversions
from units.write_conversions import answers


def test_the_conversions_written_down_are_what_pint_answers():
    known, asked = known_conversions(), dict(answers())
    assert known.keys() == asked.keys(), "python tests/units/write_conversions.py"
    for pair, answer in asked.items():
        assert known[pair] == pytest.approx(answer, rel=1e-13, abs=1e-12), pair


@pytest.mark.parametrize(
    ("unit", "to", "factor"),
    [
        # NIST SP 811 (2008), Appendix B.8, exact factors
        ("pound", "g", 453.59237),
        ("ounce", "g", 28.349523125),
        ("grain", "g", 0.06479891),
        ("foot", "mm", 304.8),
        ("gallon", "mL", 3785.411784),
        ("fluid_ounce", "mL", 29.5735295625),
    ],
)
def test_they_are_the_published_factors(unit, to, factor):
    assert conversion(unit, to).scale == pytest.approx(factor, rel=1e-14)


def test_another_pair_of_units_is_asked_for():
    assert ("pound", "ounce") not in known_conversions()
    assert conversion("pound", "ounce") == ask_pint("pound", "ounce")
    assert conversion("pound", "ounce").scale == pytest.approx(16)


def test_reading_and_printing_quantities_does_not_import_pint():
    code = (
        "import sys; from benchwater.units import read_quantity, show\n"
        "print(show(read_quantity('1 1/2 lb', 'mass'), 'g', system='us'),"
        " show(read_quantity('350 F', 'temperature'), 'degC', system='us'), 'pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "1.5 lb 350 °F False\n"
