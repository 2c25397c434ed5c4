"""The tutorial works as it is printed: every block of it is run in an empty folder."""

import contextlib
import io
import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from command_line import run
from developers import Block, blocks, part

TUTORIAL = part("Ten minutes: a section of your own")


@pytest.mark.slow
def test_every_block_does_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    said = ""
    do: dict[str, Callable[[Block], str]] = {
        "run": _commands,
        "python": _python,
        "file": lambda block: _write(block, "w"),
        "more": lambda block: _write(block, "a"),
    }
    for block in blocks(TUTORIAL):
        if block.what == "prints":
            assert said.endswith(block.text), f"DEVELOPERS.md, line {block.line}: it printed\n{said}"
        else:
            said = do[block.what](block)

    plugin = "my-bench/plugins/short_evenings.py"
    for words in (["format", "--check"], ["check", "--extend-select", "D1,I"]):
        tidy = _subprocess(["ruff", *words, "--isolated", "--line-length", "110", plugin])
        assert tidy.returncode == 0, tidy.stdout + tidy.stderr


def _commands(block: Block) -> str:
    said = ""
    for line in block.text.splitlines():
        program, *words = shlex.split(line)
        if program == "benchwater":
            ran = run(*words)
            status, said = ran.status, ran.out + ran.err
        else:
            assert program == "python", line
            done = _subprocess([*words[1:], "-q", "-W", "error", "-p", "no:cacheprovider"])
            status, said = done.returncode, done.stdout + done.stderr
        assert status == 0, f"DEVELOPERS.md, line {block.line}: {line}\n{said}"
    return said


def _python(block: Block) -> str:
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(block.text, f"DEVELOPERS.md, line {block.line}", "exec"), {})
    return said.getvalue()


def _write(block: Block, mode: str) -> str:
    path = Path(block.where)
    assert path.parent.is_dir(), f"DEVELOPERS.md, line {block.line}: there is no folder {path.parent} yet"
    with path.open(mode, encoding="utf-8", newline="\n") as file:
        file.write("\n\n" * (mode == "a" and path.suffix == ".py") + block.text)
    return ""


def _subprocess(words: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *words],
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
