"""Fixtures of all tests: the demo season, and what was built into it."""

import json
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchwater.pipeline import Request, choose_spans, gather, read_workspace
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
def demo() -> Callable[..., MadeSeason]:
    """Return a function that gives the demo season up to a month (`"2026-05"`; left out: the last one).

    Its `section(id, span)` gives the section of a shipped analysis.
    """
    return _seasons_of(ROOT / "sample_logs")


@pytest.fixture(scope="session")
def demo_alone(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., MadeSeason]:
    """Return the same as `demo`, without the rows of its two earlier seasons."""
    folder = tmp_path_factory.mktemp("alone") / "logs"
    shutil.copytree(ROOT / "sample_logs", folder, ignore=shutil.ignore_patterns("earlier", "reports"))
    return _seasons_of(folder)


def _seasons_of(folder: Path) -> Callable[..., MadeSeason]:
    workspace = read_workspace(folder, workspace_plugins=False)
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
