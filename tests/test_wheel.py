"""The wheel carries everything, and works from where it is installed."""

import zipfile
from pathlib import Path

import pytest

from wheels import build_wheel, install, run_with

ROOT = Path(__file__).parents[1]


@pytest.mark.slow
def test_the_wheel_carries_plugins_templates_and_typeface_and_reports_from_where_it_is_installed(tmp_path):
    wheel = build_wheel(ROOT, tmp_path / "wheels")
    held = set(zipfile.ZipFile(wheel).namelist())
    kept = {path.relative_to(ROOT / "src").as_posix() for path in (ROOT / "src").rglob("*") if path.is_file()}
    kept |= {
        f"benchwater/shipped_plugins/{path.relative_to(ROOT / 'plugins').as_posix()}"
        for path in (ROOT / "plugins").rglob("*")
        if path.is_file()
    }
    assert {name for name in kept if "__pycache__" not in name} <= held
    assert any(
        name.startswith("benchwater/render/fonts/") and name.endswith(".woff2") for name in held
    ) or any(name.startswith("benchwater/render/fonts/") and name.endswith((".ttf", ".otf")) for name in held)

    site = tmp_path / "site"
    install(wheel, site)
    places = run_with(
        site, "-c", "from benchwater.plugin_host.places import shipped_folder as f; print(f().resolve())"
    )
    assert places.stdout.strip() == str((site / "benchwater" / "shipped_plugins").resolve()), places.stderr
    listed = run_with(site, "-m", "benchwater", "plugins", tmp_path)
    assert listed.returncode == 0, listed.stdout + listed.stderr
    for path in (ROOT / "plugins" / "analyses").glob("*.py"):
        assert f"shipped: analyses/{path.name}" in listed.stdout

    bench = tmp_path / "bench"
    assert run_with(site, "-m", "benchwater", "start", bench).returncode == 0
    (bench / "logs" / "pour.csv").write_text("date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n")
    made = run_with(site, "-m", "benchwater", "report", bench)
    assert made.returncode == 0, made.stdout + made.stderr
    assert (bench / "reports" / "2026-05" / "season-report.pdf").stat().st_size > 0
