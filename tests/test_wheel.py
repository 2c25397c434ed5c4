"""Content of wheel and sdist, and the wheel in an empty environment."""

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from benchwater.plugin_host.load import load_plugins
from wheels import build_sdist, build_wheel, new_environment, unpack

ROOT = Path(__file__).parents[1]
WHOLE_TREE = (
    "tests/test_documents.py",
    "tests/test_house.py",
    "tests/demo_season",
    "tests/ledger/test_made.py",
)
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_sdist(ROOT, tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="module")
def wheel(sdist: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel from the unpacked sdist."""
    project = unpack(sdist, tmp_path_factory.mktemp("unpacked"))
    return build_wheel(project, tmp_path_factory.mktemp("wheel"))


def files_below(*folders: str) -> set[str]:
    paths = (path for folder in folders for path in (ROOT / folder).rglob("*") if path.is_file())
    return {path.relative_to(ROOT).as_posix() for path in paths if "__pycache__" not in path.parts}


def content(wheel: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_wheel_has_program_plugins_templates_and_typeface_but_no_tests(wheel):
    held = {name for name in content(wheel) if ".dist-info/" not in name}
    wanted = {name.removeprefix("src/") for name in files_below("src")}
    wanted |= {f"benchwater/shipped_{name}" for name in files_below("plugins")}
    assert held == wanted
    assert {Path(name).suffix for name in held} >= {
        ".py",
        ".j2",
        ".css",
        ".ttf",
        ".csv",
        ".toml",
        ".typed",
        ".md",
    }


def test_sdist_has_sources_tests_and_the_files_that_tests_read(sdist):
    with tarfile.open(sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    top = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "requirements.lock"}
    made = {"PKG-INFO", ".gitignore"}
    read = {name for name in files_below("sample_logs") if not name.startswith("sample_logs/reports/")}
    read |= {path.relative_to(ROOT).as_posix() for path in (ROOT / "reports").glob("sample-*")}
    assert names == files_below("src", "plugins", "tests") | read | top | made


@pytest.mark.filterwarnings("ignore:Python 3.14:DeprecationWarning")
def test_sdist_is_unpacked_by_a_python_without_filters_of_tarfile(sdist, tmp_path, monkeypatch):
    def unfiltered(archive: tarfile.TarFile, path: Path) -> None:
        for member in archive:
            archive.extract(member, path)

    monkeypatch.delattr(tarfile, "data_filter", raising=False)
    monkeypatch.setattr(tarfile.TarFile, "extractall", unfiltered)
    assert (unpack(sdist, tmp_path) / "pyproject.toml").is_file()


def test_tests_of_the_whole_tree_pass_in_an_unpacked_sdist(sdist, tmp_path):
    project = unpack(sdist, tmp_path)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *WHOLE_TREE],
        cwd=project,
        env={**os.environ, "PYTHONPATH": str(project / "src")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_wheels_of_sdist_and_repository_are_equal(wheel, tmp_path):
    assert content(wheel) == content(build_wheel(ROOT, tmp_path))


def test_wheel_in_an_empty_environment_writes_a_report(wheel, tmp_path):
    programs = new_environment(tmp_path / "env", wheel)

    def run(program: str, *words: object) -> str:
        bare = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
        done = subprocess.run(
            [programs / program, *map(str, words)],
            cwd=tmp_path,
            env=bare,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    where = (
        "import benchwater as b, benchwater.plugin_host.places as p; print(b.__file__, p.shipped_folder())"
    )
    for place in run("python", "-c", where).split():
        assert Path(place).is_relative_to((tmp_path / "env").resolve())
    listed = run("benchwater", "plugins", tmp_path)
    for plugin in load_plugins(None).loaded:
        if plugin.analyses or plugin.log_kinds:
            assert f"shipped: {plugin.where}" in listed

    run("benchwater", "start", "bench")
    (tmp_path / "bench" / "logs" / "pour.csv").write_text(
        "date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n", encoding="utf-8"
    )
    run("benchwater", "report", "bench")
    pdf = (tmp_path / "bench" / "reports" / "2026-05" / "season-report.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
