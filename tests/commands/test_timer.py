import os
import plistlib
import sys

import pytest

from command_line import run

pytestmark = pytest.mark.skipif(os.name == "nt", reason="stands in for the system with shell scripts")


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A home of its own and a system whose tools only note what they are asked."""
    tools = tmp_path / "tools"
    tools.mkdir()
    for name in ("systemctl", "launchctl", "schtasks", "crontab"):
        (tools / name).write_text(f'#!/bin/sh\necho {name} "$@" >> {tmp_path}/asked\n')
        (tools / name).chmod(0o755)
    monkeypatch.setenv("PATH", f"{tools}:/usr/bin:/bin")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    assert run("start", tmp_path / "my bench").status == 0
    return tmp_path / "home"


def asked(home):
    path = home.parent / "asked"
    return path.read_text() if path.exists() else ""


@pytest.mark.parametrize("system", ["systemd", "launchd", "schtasks", "cron"])
def test_show_changes_nothing_and_names_the_log(home, system):
    outcome = run("timer", home.parent / "my bench", "--system", system, "--at", "07:05")
    assert (outcome.status, outcome.err) == (0, "")
    assert f"Log: {home.parent}/my bench/reports/due.log" in outcome.out
    assert "benchwater" in outcome.out
    assert "due" in outcome.out
    assert asked(home) == ""
    assert not home.exists()


def test_a_folder_without_a_bench_gets_no_timer(home):
    for words in ((), ("--install",)):
        outcome = run("timer", home.parent, "--system", "systemd", *words)
        assert (outcome.status, f"no bench.toml in {home.parent.resolve()}" in outcome.err) == (2, True)
    assert not home.exists()
    assert run("timer", home.parent, "--system", "systemd", "--remove").status == 0
    outcome = run("timer", home.parent / "my bench", "--at", "25:00")
    assert (outcome.status, "`25:00` is not a time of day (accepted: `06:30`)" in outcome.err) == (2, True)


def test_installing_writes_the_units_switches_them_on_and_removing_undoes_it(home):
    folder = home.parent / "my bench"
    outcome = run("timer", folder, "--install", "--system", "systemd", "--no-workspace-plugins")
    assert (outcome.status, outcome.err) == (0, "")
    units = sorted(path.suffix for path in (home / ".config/systemd/user").iterdir())
    assert units == [".service", ".timer"]
    service = next((home / ".config/systemd/user").glob("*.service")).read_text()
    assert f'"{sys.executable}" "-P" "-m" "benchwater" "due"' in service
    assert f'"{folder}"' in service
    assert '"--no-workspace-plugins"' in service
    assert "--user enable --now benchwater-my-bench-" in asked(home)
    assert "in place" in run("timer", folder, "--system", "systemd", "--no-workspace-plugins").out
    assert run("timer", folder, "--remove", "--system", "systemd").status == 0
    assert list((home / ".config/systemd/user").iterdir()) == []
    assert "--user disable --now benchwater-my-bench-" in asked(home)
    assert "no timer" in run("timer", folder, "--remove", "--system", "systemd").out


def test_the_agent_runs_due_at_the_time_asked_for(home):
    run("timer", home.parent / "my bench", "--install", "--system", "launchd", "--at", "21:15")
    (agent,) = (home / "Library" / "LaunchAgents").iterdir()
    said = plistlib.loads(agent.read_bytes())
    assert said["StartCalendarInterval"] == {"Hour": 21, "Minute": 15}
    assert said["ProgramArguments"][0] == sys.executable
    assert "bootstrap" in asked(home)


def test_a_foreign_file_or_a_missing_tool_is_a_plain_refusal(home, monkeypatch):
    folder = home.parent / "my bench"
    run("timer", folder, "--install", "--system", "systemd")
    unit = next((home / ".config/systemd/user").glob("*.timer"))
    unit.write_text("[Timer]\nOnCalendar=yearly\n")
    refused = run("timer", folder, "--install", "--system", "systemd")
    assert refused.status == 2
    assert "left as it is" in refused.err
    assert "Traceback" not in refused.err
    assert unit.read_text() == "[Timer]\nOnCalendar=yearly\n"
    assert "not written by benchwater" in run("timer", folder, "--system", "systemd").out
    monkeypatch.setenv("PATH", "/nowhere")
    missing = run("timer", folder, "--install", "--system", "launchd")
    assert missing.status == 2
    assert "`launchctl`" in missing.err
    assert not (home / "Library").exists()


def test_an_invalid_time_is_refused(home):
    assert run("timer", home.parent / "my bench", "--at", "25:00").status == 2
