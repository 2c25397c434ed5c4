import benchwater.plugin
import benchwater.testing
from docs.write_reference import REFERENCE, reference


def test_the_reference_equals_what_the_docstrings_give():
    written = REFERENCE.read_text(encoding="utf-8")
    assert written == reference(), "stale: run `python tests/docs/write_reference.py`"


def test_the_reference_lists_every_name_that_a_plugin_can_import():
    written = reference()
    for name in (*benchwater.plugin.__all__, *benchwater.testing.__all__):
        if name not in {"CONTRACT_VERSION", "hookimpl"}:
            assert f"`{name}`" in written or f"`{name}(" in written, name
