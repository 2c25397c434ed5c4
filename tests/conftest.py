"""Fixtures of all tests: the demo season, and what was built into it."""

import json
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchwater.analyse.report import Report
from benchwater.pipeline import Request, Workspace, choose_spans, gather, make_report, read_workspace
from benchwater.testing import MadeSeason

ROOT = Path(__file__).parents[1]


@pytest.fixture(autouse=True)
def _state_of_the_test(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    """Keep the user's own state out; trust the plugins that tests write, but for tests of trust itself."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.getbasetemp() / "state"))
    if "asks_for_trust" not in request.keywords:
        monkeypatch.setattr("benchwater.plugin_host.trust.untrusted", lambda workspace: ())


@pytest.fixture(scope="session")
def demo_workspace() -> Workspace:
    """Return the demo's folder as read."""
    return read_workspace(ROOT / "sample_logs", workspace_plugins=False)


@pytest.fixture(scope="session")
def demo_report(demo_workspace: Workspace) -> Callable[[str | None], Report]:
    """Return a function that gives the demo's report of a month (`"2026-05"`), or (None) of its season."""
    return cache(lambda month: make_report(demo_workspace, Request(month=month, whole_season=month is None)))


@pytest.fixture(scope="session")
def demo(demo_workspace: Workspace) -> Callable[..., MadeSeason]:
    """Return a function that gives the demo season up to a month (`"2026-05"`; left out: the last one).

    Its `section(id, span)` gives the section of a shipped analysis.
    """
    return _seasons_of(demo_workspace)


@pytest.fixture(scope="session")
def demo_alone(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., MadeSeason]:
    """Return the same as `demo`, without the rows of its two earlier seasons."""
    folder = tmp_path_factory.mktemp("alone") / "logs"
    shutil.copytree(ROOT / "sample_logs", folder, ignore=shutil.ignore_patterns("earlier", "reports"))
    return _seasons_of(read_workspace(folder, workspace_plugins=False))


def _seasons_of(workspace: Workspace) -> Callable[..., MadeSeason]:
    analyses = {analysis.id: analysis for analysis, _ in workspace.plugins.analyses}

    @cache
    def up_to(month: str | None = None) -> MadeSeason:
        spans = choose_spans(workspace, Request(month=month))
        season = gather(workspace.reading, workspace.bench, spans)
        return MadeSeason(season=season, period=spans.period, whole=spans.season, analyses=analyses)

    return up_to


@pytest.fixture(scope="session")
def truth() -> dict[str, Any]:
    """Return what was built into the demo season."""
    text = (ROOT / "tests" / "demo_season" / "truth.json").read_text(encoding="utf-8")
    return json.loads(text)  # type: ignore[no-any-return]
