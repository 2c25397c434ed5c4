"""The numbers of the demo's reports are those that were looked at last."""

import json
import math
from collections.abc import Iterator
from typing import Any

import pytest

from golden import golden_numbers


@pytest.mark.parametrize("label", golden_numbers.MONTHS)
def test_the_numbers_of_the_demo_are_the_golden_ones(label, demo_report):
    golden = json.loads(golden_numbers.FILE.read_text(encoding="utf-8"))[label]
    report = demo_report(golden_numbers.MONTHS[label])
    apart = list(differences(golden, golden_numbers.numbers(report)))
    known = set(marks_of(golden))
    apart += [
        f"says now: {said}" for mark, said in golden_numbers.sentences(report).items() if mark not in known
    ]
    assert apart == [], "look at them; if they are meant, run `python tests/tasks.py golden`"


def test_a_difference_is_named_and_the_last_digits_are_none():
    golden = {"a": [1.0, None, "x"], "b": 2}
    assert list(differences(golden, {"a": [1.0 + 1e-12, None, "x"], "b": 2})) == []
    assert list(differences(golden, {"a": [1.0 + 1e-6, None, "y"], "b": 2})) == [
        "a[0]: 1.0 became 1.000001",
        "a[2]: 'x' became 'y'",
    ]
    assert list(differences(golden, {"a": [1.0]})) == ["a: 3 entries became 1", "b: 2 became None"]


def marks_of(golden: dict[str, Any]) -> Iterator[str]:
    """The marks of all the sentences of a report."""
    for section in golden.values():
        yield from section.get("sentences", ()) if isinstance(section, dict) else ()


def differences(golden: Any, now: Any, where: str = "") -> Iterator[str]:
    """A line for each entry that is another; numbers are the same to 1e-9."""
    if isinstance(golden, dict) and isinstance(now, dict):
        for name in [*golden, *(name for name in now if name not in golden)]:
            yield from differences(golden.get(name), now.get(name), f"{where}.{name}" if where else name)
    elif isinstance(golden, list) and isinstance(now, list):
        if len(golden) != len(now):
            yield f"{where}: {len(golden)} entries became {len(now)}"
            return
        for at, (one, other) in enumerate(zip(golden, now, strict=True)):
            yield from differences(one, other, f"{where}[{at}]")
    elif isinstance(golden, float | int) and isinstance(now, float | int):
        if not math.isclose(golden, now, rel_tol=1e-9, abs_tol=1e-9):
            yield f"{where}: {golden} became {now}"
    elif golden != now:
        yield f"{where}: {golden!r} became {now!r}"
