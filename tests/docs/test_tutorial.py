"""The commands of the tutorial in DEVELOPERS.md, run in an empty folder."""

import json
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from command_line import run
from developers import ROOT, blocks, part


@pytest.mark.slow
def test_each_command_succeeds_and_the_report_has_the_section(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for block in blocks(part("Tutorial: a section of your own")):
        if block.what == "run":
            for line in block.text.splitlines():
                status, printed = _run(line)
                assert status == 0, f"DEVELOPERS.md, line {block.line}: {line}\n{printed}"

    twin = json.loads(Path("my-bench/reports/2026-05/season-report.json").read_text(encoding="utf-8"))
    section = next(section for section in twin["sections"] if section["id"] == "short_evenings")
    assert section["findings"][0]["text"] == "4 of 5 evenings made fewer than 20 good castings."
    assert section["tables"][0]["rows"][0] == ["period", "2026-05-02", 4, 18]
    (action,) = [action for action in twin["actions"] if action["section"] == "short_evenings"]
    assert action["because"] == "4 of 5 evenings took 17 warm-up castings for 27 good ones"


def _run(line: str) -> tuple[int, str]:
    """Run one line of the tutorial; return its exit status and what it printed."""
    program, *words = shlex.split(line)
    if program == "cp":
        source, target = words
        shutil.copy(ROOT / source, target)
        return 0, ""
    if program == "benchwater":
        ran = run(*words)
        return ran.status, ran.out + ran.err
    assert program == "python", line
    done = subprocess.run(
        [sys.executable, *words, "-q", "-W", "error", "-p", "no:cacheprovider"],
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr
