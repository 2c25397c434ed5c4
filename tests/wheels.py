"""Build a wheel and lay it out in a folder, without the network."""

import os
import subprocess
import sys
from pathlib import Path


def build_wheel(project: Path, out: Path) -> Path:
    _run("-m", "hatchling", "build", "-t", "wheel", "-d", out, folder=project)
    (wheel,) = out.glob("*.whl")
    return wheel


def install(wheel: Path, site: Path) -> None:
    _run(
        "-m", "pip", "install", "--no-deps", "--no-index", "--no-compile", "--quiet", "--target", site, wheel
    )


def run_with(site: Path, *words: object) -> subprocess.CompletedProcess[str]:
    """Run Python with `site` before everything installed, in a folder that holds no code."""
    return subprocess.run(
        [sys.executable, "-P", *map(str, words)],
        cwd=site.parent,
        env={**os.environ, "PYTHONPATH": str(site), "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
        capture_output=True,
        text=True,
        check=False,
    )


def _run(*words: object, folder: Path | None = None) -> None:
    done = subprocess.run(
        [sys.executable, *map(str, words)],
        cwd=folder,
        env={**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
