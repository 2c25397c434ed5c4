"""A workspace's plugins run only once the user has said yes to them as they are."""

import os
import pty
import py_compile
import subprocess
import sys
from importlib.util import cache_from_source
from pathlib import Path

import pytest

import benchwater
from benchwater.notebook import SetAsideWarning
from benchwater.plugin_host import trust
from benchwater.plugin_host.load import load_plugins
from benchwater.plugin_host.trust import plugin_contents
from command_line import run

pytestmark = pytest.mark.asks_for_trust

PLUGIN = """\
from pathlib import Path
from benchwater.plugin import Analysis, Section, hookimpl
(Path(__file__).parents[1] / "ran.log").write_text("ran")
@hookimpl
def analyses():
    return [Analysis(id="mine", title="Mine", question="?", order=1, needs=(), analyse=nothing)]
def nothing(season, span):
    return Section.empty("Nothing.")
"""
POUR = "date,mold,cavity,outcome,mold_temp [F]\n2026-05-02,m,c,good,300\n"
BENCH = """[bench]\nname = "Mine"\n[items.alloy]\nkind = "metal"\n[molds.m]\nmaterial = "alloy"
[[molds.m.cavities]]\nname = "c"\nmass = "5 g"\n"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    workspace = tmp_path / "bench"
    (workspace / "plugins").mkdir(parents=True)
    (workspace / "plugins" / "mine.py").write_text(PLUGIN)
    (workspace / "bench.toml").write_text(BENCH)
    (workspace / "pour.csv").write_text(POUR)
    return workspace


def ran(folder: Path) -> bool:
    """Whether the plugin ran; forget it."""
    mark = folder / "ran.log"
    found = mark.exists()
    mark.unlink(missing_ok=True)
    return found


@pytest.mark.parametrize(
    "command",
    [
        ["check"],
        ["plugins"],
        ["sheets", "--log", "pour"],
        ["due", "--list", "--today", "2026-06-02"],
        ["due", "--today", "2026-06-02"],
        pytest.param(["report", "--only", "pour_plan"], marks=pytest.mark.slow),
    ],
)
def test_no_command_runs_a_plugin_unasked_and_each_says_what_was_not_run(folder, command):
    outcome = run(*command, folder)
    assert not ran(folder)
    assert "--list" in command or (
        outcome.status == 1 and "mine.py (workspace) was not run" in (outcome.out + outcome.err)
    )
    assert not list((folder / "plugins").glob("*/")), "check writes nothing"


def test_new_analysis_and_load_run_no_plugin_unasked(folder):
    assert run("new-analysis", "other", "--in", folder).status == 0
    with pytest.warns(SetAsideWarning, match="2 plugins not loaded"):
        benchwater.load(folder)
    assert not ran(folder)
    assert trust.untrusted(folder) == ("mine.py",), "what new-analysis wrote is trusted"


def test_what_was_trusted_runs_until_a_file_changes_its_content_or_name(folder):
    assert run("plugins", folder, "--trust").status == 0
    assert ran(folder)
    assert run("check", folder).status == 0
    assert ran(folder)
    helper = folder / "plugins" / "rows.csv"
    helper.write_text("1")
    assert (run("check", folder).status, ran(folder)) == (1, False)
    assert trust.untrusted(folder) == ("rows.csv",)
    helper.unlink()
    (folder / "plugins" / "mine.py").rename(folder / "plugins" / "yours.py")
    assert trust.untrusted(folder) == ("yours.py",)


def test_trust_is_kept_in_the_users_state_folder_for_this_user_alone(folder, tmp_path, monkeypatch):
    trust.trust(folder)
    assert (tmp_path / "state" / "benchwater").stat().st_mode & 0o077 == 0
    assert not trust.untrusted(folder)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "other"))
    assert trust.untrusted(folder) == ("mine.py",)
    monkeypatch.delenv("XDG_STATE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert trust.state_folder() == tmp_path / ".local" / "state" / "benchwater"


def test_no_workspace_plugins_asks_nothing_and_names_no_problem(folder):
    outcome = run("check", folder, "--no-workspace-plugins")
    assert (outcome.status, ran(folder)) == (0, False)
    assert "mine.py" not in outcome.out


def test_due_keeps_reports_made_with_plugins_that_are_no_longer_trusted(folder):
    assert run("due", folder, "--today", "2026-06-02", "--trust").status in {0, 1}
    report = folder / "reports" / "2026-05" / "season-report.json"
    before = report.read_bytes()
    with (folder / "plugins" / "mine.py").open("a") as source:
        source.write("# edited\n")
    kept = run("due", folder, "--today", "2026-06-02")
    assert kept.status == 1
    assert "kept as it was: it was made with plugins of this folder" in kept.err
    assert report.read_bytes() == before
    assert "wrote" in run("due", folder, "--today", "2026-06-02", "--trust").out


@pytest.mark.parametrize(("answer", "runs"), [(b"y\n", True), (b"n\n", False), (b"\n", False)])
def test_on_a_terminal_the_files_are_listed_and_asked_about(folder, answer, runs):
    parent, terminal = pty.openpty()
    os.write(parent, answer)
    process = subprocess.Popen(
        [sys.executable, "-m", "benchwater", "check", str(folder)],
        stdin=terminal,
        stderr=terminal,
        stdout=subprocess.PIPE,
        text=True,
    )
    out, _ = process.communicate(timeout=60)
    os.close(terminal)
    asked = os.read(parent, 100_000).decode()
    assert "mine.py" in asked
    assert "Run them" in asked
    assert (ran(folder), "was not run" in out) == (runs, not runs)


def test_a_cached_bytecode_file_beside_a_plugin_is_never_run(folder):
    plugin = folder / "plugins" / "mine.py"
    package = folder / "plugins" / "pack"
    package.mkdir()
    (package / "__init__.py").write_text(PLUGIN.replace('"mine"', '"pack"') + "from .helper import x\n")
    (package / "helper.py").write_text("x = 1\n")
    evil = f"open({str(folder / 'evil')!r}, 'w')\nx = 1\n"
    for source in (plugin, package / "__init__.py", package / "helper.py"):
        other = folder.parent / "evil.py"
        other.write_text(evil)
        py_compile.compile(
            str(other),
            cache_from_source(str(source)),
            invalidation_mode=py_compile.PycInvalidationMode.UNCHECKED_HASH,
        )
    trust.trust(folder)
    loaded = load_plugins(folder)
    assert not loaded.problems
    assert {analysis.id for analysis, _ in loaded.analyses} >= {"mine", "pack"}
    assert not (folder / "evil").exists()


def test_a_plugin_folder_cannot_import_its_tests_or_bytecode_alone(folder):
    package = folder / "plugins" / "pack"
    package.mkdir()
    (package / "__init__.py").write_text("from .test_more import x\n")
    (package / "test_more.py").write_text("")
    trust.trust(folder)
    (problem,) = load_plugins(folder).problems
    assert "there is no module 'pack.test_more'" in problem.why


def test_the_digest_follows_links_and_the_code_of_installed_packages(folder, tmp_path, monkeypatch):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "__init__.py").write_text("x = 1")
    (folder / "plugins" / "linked").symlink_to(elsewhere)
    site = tmp_path / "site"
    (site / "pack-1.0.dist-info").mkdir(parents=True)
    (site / "pack-1.0.dist-info" / "entry_points.txt").write_text(
        "[benchwater]\npack = pack_of_mine.sub:plugin\n"
    )
    (site / "pack_of_mine").mkdir()
    for name in ("__init__.py", "sub.py"):
        (site / "pack_of_mine" / name).write_text("")
    monkeypatch.syspath_prepend(str(site))
    before = plugin_contents(folder)
    (elsewhere / "__init__.py").write_text("x = 2")
    (site / "pack_of_mine" / "sub.py").write_text("x = 1")
    after = plugin_contents(folder)
    changed = {name for name in after if before[name] != after[name]}
    assert changed == {"plugins/linked/__init__.py", "installed: pack"}
