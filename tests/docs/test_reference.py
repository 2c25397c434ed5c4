"""The contract's reference in DEVELOPERS.md says what the source says."""

import pytest

import benchwater.plugin
import benchwater.testing
from developers import DEVELOPERS
from docs.write_reference import reference, with_reference


def test_the_reference_is_what_the_docstrings_say():
    assert with_reference(DEVELOPERS) == DEVELOPERS, "stale: run `python tests/docs/write_reference.py`"


def test_every_name_that_a_plugin_can_import_is_in_the_reference():
    made = reference()
    for name in (*benchwater.plugin.__all__, *benchwater.testing.__all__):
        if name not in {"CONTRACT_VERSION", "hookimpl"}:
            assert f"`{name}`" in made or f"`{name}(" in made, name


def test_the_document_cannot_lose_its_marks():
    without = DEVELOPERS.replace("<!-- reference: end -->", "")
    with pytest.raises(AssertionError, match="reference: end"):
        with_reference(without)
