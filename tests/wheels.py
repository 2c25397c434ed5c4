"""Build and install a project's wheel and sdist without the network."""

import os
import subprocess
import sys
import sysconfig
import tarfile
import venv
from pathlib import Path


def build_wheel(project: Path, out: Path) -> Path:
    """Build the wheel of a project in `out` and return its path."""
    return _build(project, out, "wheel", "*.whl")


def build_sdist(project: Path, out: Path) -> Path:
    """Build the sdist of a project in `out` and return its path."""
    return _build(project, out, "sdist", "*.tar.gz")


def unpack(sdist: Path, folder: Path) -> Path:
    """Unpack an sdist and return the one folder in it.

    Debian 12 has Python 3.11.2, whose `extractall` takes no `filter`.
    """
    with tarfile.open(sdist) as archive:
        if hasattr(tarfile, "data_filter"):
            archive.extractall(folder, filter="data")
        else:
            archive.extractall(folder)
    (project,) = folder.iterdir()
    return project


def install(wheel: Path, site: Path) -> None:
    """Install a wheel into a folder."""
    _pip("install", "--no-compile", "--target", site, wheel)


def new_environment(folder: Path, wheel: Path) -> Path:
    """Create a virtual environment with this wheel and return its folder of programs.

    A .pth file, written after pip has run, lends it the libraries of the environment that runs the tests: pip
    fetches nothing, and the wheel comes before an installed copy of the project.
    """
    venv.EnvBuilder(with_pip=False, symlinks=os.name != "nt").create(folder)
    programs = folder / ("Scripts" if os.name == "nt" else "bin")
    python = programs / Path("python").with_suffix(".exe" if os.name == "nt" else "")
    _pip("--python", python, "install", wheel)
    site = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    lent = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    Path(site, "lent.pth").write_text("".join(f"{path}\n" for path in sorted(lent)), encoding="utf-8")
    return programs


def run_with(site: Path, *words: object) -> subprocess.CompletedProcess[str]:
    """Run Python with `site` first on its path, in a folder without code."""
    return subprocess.run(
        [sys.executable, "-P", *map(str, words)],
        cwd=site.parent,
        env={**os.environ, "PYTHONPATH": str(site), "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
        capture_output=True,
        text=True,
        check=False,
    )


def _build(project: Path, out: Path, target: str, ending: str) -> Path:
    _run("-m", "hatchling", "build", "-t", target, "-d", out, folder=project)
    (built,) = out.glob(ending)
    return built


def _pip(*words: object) -> None:
    at = words.index("install") + 1
    _run("-m", "pip", *words[:at], "--no-deps", "--no-index", "--quiet", *words[at:])


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
