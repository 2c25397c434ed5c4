from small_bench import SMALL_BENCH

pytest_plugins = ["benchwater.testing.pytest_plugin"]

FILES = {"bench.toml": SMALL_BENCH, "logs/p.csv": "date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n"}
PLUGIN = """
from benchwater.plugin import Analysis, Section, hookimpl

def analyse(season, span):
    return Section.empty("Nothing to say.") if {fine} else 1 / 0

@hookimpl
def analyses():
    return [Analysis(id="mine", title="T", question="Q?", order=1, analyse=analyse)]
"""


def test_run_report_gives_exit_status_twin_and_what_was_printed(run_report):
    fine = run_report({**FILES, "plugins/mine.py": PLUGIN.format(fine=True)}, "--only", "mine")
    assert (fine.status, fine.err) == (0, "")
    assert fine.section("mine")["why"] == "Nothing to say."
    assert "1 row used" in fine.out
    broken = run_report({**FILES, "plugins/mine.py": PLUGIN.format(fine=False)}, "--only", "mine")
    assert broken.status == 1
    assert broken.section("mine")["status"] == "failed"
    assert "ZeroDivisionError" in broken.err
    assert broken.folder != fine.folder
    none = run_report({"logs/p.csv": ""})
    assert (none.status, none.twin) == (2, {})
    assert "bench.toml" in none.err
