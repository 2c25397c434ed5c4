import subprocess
import sys

import pytest

from command_line import run


@pytest.mark.slow
def test_what_new_analysis_writes_passes_its_own_test_and_is_loaded_at_once(tmp_path):
    run("start", tmp_path)
    assert run("new-analysis", "Rainy-days", "--in", tmp_path).status == 0
    test = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-W", "error", "plugins"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert "3 passed" in test.stdout, test.stdout + test.stderr
    listed = run("plugins", tmp_path)
    assert listed.status == 0
    assert "rainy_days" in listed.out
    assert "workspace: rainy_days.py" in listed.out


def test_new_analysis_overwrites_nothing_and_refuses_an_invalid_name(tmp_path):
    run("start", tmp_path)
    assert run("new-analysis", "mine", "--in", tmp_path).status == 0
    again = run("new-analysis", "mine", "--in", tmp_path)
    assert again.status == 2
    assert "already there" in again.err
    for name in ("1st", "a b/c", "../escape", "class", "ünï"):
        assert run("new-analysis", name, "--in", tmp_path).status == 2


def test_new_analysis_refuses_a_taken_name_and_a_folder_without_a_bench(tmp_path):
    nowhere = run("new-analysis", "mine", "--in", tmp_path)
    assert (nowhere.status, "no bench.toml" in nowhere.err) == (2, True)
    assert list(tmp_path.iterdir()) == []
    run("start", tmp_path)
    taken = run("new-analysis", "defect rate", "--in", tmp_path)
    assert (taken.status, "`defect_rate` already (shipped: analyses/defect_rate)" in taken.err) == (2, True)
    with (tmp_path / "bench.toml").open("a") as bench:
        bench.write('[plugins]\noff = ["defect_rate"]\n')
    off = run("new-analysis", "defect-rate", "--in", tmp_path)
    assert (off.status, "`off` under [plugins]" in off.err) == (2, True)
    assert list((tmp_path / "plugins").iterdir()) == []
