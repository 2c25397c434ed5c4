"""Whole analyses on drawn seasons: what must not matter does not, and what scales scales."""

import random
from collections.abc import Iterator
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchwater import plots
from benchwater.plugin import Section
from benchwater.testing import check_section, make_season
from properties.drawn_season import Written, bench, draw, write

pytestmark = pytest.mark.slow

SHIPPED = (
    *("material_balance", "defect_rate", "bait_mortality", "catch_rate", "catch_size", "cost"),
    *("pour_plan", "finishing", "bench_safety"),
)
SEEDS = st.sampled_from(range(5))
SHUFFLES = st.integers(0, 2**32 - 1)
# Limits found by search stop within 1e-6 of themselves.
TOLERANCE = {"rel": 1e-5, "abs": 1e-7}
Key = tuple[object, ...]
Numbers = dict[Key, object]
bounded = settings(
    max_examples=10,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.fixture(autouse=True)
def _no_drawing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plots, "to_svg", lambda figure: plots_closed(figure))


def plots_closed(figure: object) -> str:
    """No SVG: these tests look at numbers, and drawing takes most of the time."""
    return "<svg xmlns='http://www.w3.org/2000/svg'/>"


def analysed(seed: int, how: Written) -> dict[str, Section]:
    season = make_season(bench(how.factor), write(draw(seed), how))
    return {name: season.section(name, season.whole) for name in SHIPPED}


@cache
def as_drawn(seed: int) -> dict[str, Section]:
    return analysed(seed, Written())


def numbers(section: Section) -> Numbers:
    """Every number a section holds, under what it is: findings by id and group, cells by table and column."""
    found: Numbers = {("status",): section.status}
    for entry in section.findings:
        for name in ("value", "low", "high", "n"):
            found["finding", entry.id, entry.group, name] = getattr(entry, name)
        for name, more in entry.more.items():
            found["finding", entry.id, entry.group, "more", name] = more
    for table in section.tables:
        for place, row in enumerate(sorted(table.rows, key=_row_key)):
            for column, cell in zip(table.columns, row, strict=True):
                found["table", table.id, place, column.name] = cell
    for action in section.actions:
        found["action", action.id] = action.worth
    return found


def _row_key(row: tuple[object, ...]) -> tuple[str, ...]:
    """An order of rows in which a last digit makes no difference."""
    return tuple(f"{cell:+.5e}" if isinstance(cell, float) else str(cell) for cell in row)


def differences(one: Numbers, other: Numbers, *, but: tuple[str, ...] = ()) -> Iterator[str]:
    """What differs beyond the tolerance; `but` are keys' parts that are not compared."""
    for key in sorted(set(one) | set(other), key=str):
        if any(part in but for part in key):
            continue
        a, b = one.get(key, "absent"), other.get(key, "absent")
        is_number = all(isinstance(each, int | float) and not isinstance(each, bool) for each in (a, b))
        if (a != pytest.approx(b, rel=TOLERANCE["rel"], abs=TOLERANCE["abs"])) if is_number else a != b:
            yield f"{key}: {a} and {b}"


def assert_same(one: dict[str, Section], other: dict[str, Section], *, but: tuple[str, ...] = ()) -> None:
    wrong = [
        f"{name}: {each}"
        for name in SHIPPED
        for each in differences(numbers(one[name]), numbers(other[name]), but=but)
    ]
    assert not wrong, "\n".join(wrong)


def test_the_drawn_seasons_are_worth_analysing() -> None:
    for seed in range(5):
        for name, section in as_drawn(seed).items():
            assert section.status in {"ok", "thin"}, f"{name}: {section.status}"
            check_section(section)


@bounded
@given(SEEDS, SHUFFLES)
def test_the_order_of_rows_changes_no_number(seed: int, shuffle: int) -> None:
    assert_same(as_drawn(seed), analysed(seed, Written(shuffle=random.Random(shuffle))))


@bounded
@given(SEEDS, st.integers(2, 5))
def test_the_files_that_rows_are_in_change_no_number(seed: int, files: int) -> None:
    assert_same(as_drawn(seed), analysed(seed, Written(files=files)))


@bounded
@given(SEEDS)
def test_the_units_that_rows_are_written_in_change_no_number(seed: int) -> None:
    assert_same(as_drawn(seed), analysed(seed, Written(us=True)))


@bounded
@given(SEEDS)
def test_rows_of_one_are_the_same_as_one_row_with_a_count(seed: int) -> None:
    """But for the number of rows that a balance or a chain of counts rests on, which it states."""
    merged, apart = as_drawn(seed), analysed(seed, Written(merged=False))
    assert_same(merged, apart, but=("n",))
    for name in ("defect_rate", "bait_mortality", "catch_rate", "catch_size"):
        assert not list(differences(numbers(merged[name]), numbers(apart[name]))), name


@bounded
@given(SEEDS, st.integers(-2, 4))
def test_scaling_all_masses_by_tens_scales_the_balance(seed: int, place: int) -> None:
    """The castings' scale states no step: it is read off the readings, which show decimal places alone."""
    assert_scales(seed, 10.0**place)


@bounded
@given(SEEDS, st.floats(0.01, 500))
def test_scaling_all_masses_with_their_scale_scales_the_balance(seed: int, factor: float) -> None:
    assert_scales(seed, factor, alloy_step=0.1)


def assert_scales(seed: int, factor: float, **steps: float) -> None:
    one, other = (
        make_season(bench(times, **steps), write(draw(seed), Written(factor=times)))
        for times in (1.0, factor)
    )
    before, after = (made.section("material_balance", made.whole) for made in (one, other))
    assert not list(differences(dict(_scaled(before, factor)), dict(_scaled(after, 1.0))))


def _scaled(section: Section, factor: float) -> Iterator[tuple[Key, object]]:
    """The numbers of a material balance, those in grams times `factor`."""
    yield ("status",), section.status
    for entry in section.findings:
        for name in ("value", "low", "high"):
            yield ("finding", entry.id, entry.group, name), _times(getattr(entry, name), entry.unit, factor)
        yield ("finding", entry.id, entry.group, "n"), entry.n
    for table in section.tables:
        names = [column.name for column in table.columns]
        for place, row in enumerate(table.rows):
            cells = dict(zip(names, row, strict=True))
            for column in table.columns:
                unit = column.unit if column.unit_from is None else cells[column.unit_from]
                yield ("table", table.id, place, column.name), _times(cells[column.name], unit, factor)


def _times(value: object, unit: object, factor: float) -> object:
    return value * factor if unit == "g" and isinstance(value, float) else value
