"""The first cases of the fuzzer, and that a fault in a number is one that tests can see."""

import ast

import pytest

import fuzz
import mutants


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 21))
def test_reading_ends_whatever_a_folder_holds(tmp_path, seed):
    fuzz.write_case(tmp_path, seed)
    fuzz.read_case(tmp_path)


def test_a_drawn_fault_changes_one_thing_and_is_the_same_for_a_seed():
    fault = next(mutants.faults(mutants.PLACES, 1, seed=5))
    assert fault == next(mutants.faults(mutants.PLACES, 1, seed=5))
    before = ast.unparse(ast.parse((mutants.ROOT / fault.file).read_text("utf-8"))).splitlines()
    after = fault.text.splitlines()
    assert sum(one != other for one, other in zip(before, after, strict=True)) == 1
