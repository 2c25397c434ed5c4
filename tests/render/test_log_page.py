"""The log page in headless Chromium, opened from a file as on a phone: tapped, killed, reopened, saved."""

import csv
import os
import random
import re
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from command_line import run
from render.chromium import axe_core, chromium

sync_api = pytest.importorskip("playwright.sync_api", reason="needs playwright")
pytestmark = pytest.mark.slow
SAMPLE_LOGS = Path(__file__).parents[2] / "sample_logs"
PHONE = {"width": 360, "height": 740}
BENCH = SAMPLE_LOGS / "bench.toml"


@pytest.fixture(scope="module")
def log_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("page")
    assert run("sheets", SAMPLE_LOGS, "--page", "--out", out).status == 0
    return out / "log-page.html"


@contextmanager
def opened(log_page: Path, profile: Path) -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=chromium(),
            args=["--no-sandbox"],
            viewport=PHONE,
            accept_downloads=True,
        )
        page = context.new_page()
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("dialog", lambda dialog: dialog.accept())
        page.goto(log_page.as_uri())
        yield page
        assert not errors
        context.close()


def tap(page: Any, key: str) -> None:
    page.locator(f'[data-key="{key}"]').click()


def choose(page: Any, group: str, word: str) -> None:
    page.get_by_role("group", name=group).get_by_role("button", name=word, exact=True).click()


def save_all(page: Any, logs: Path) -> list[str]:
    """Save every log that holds rows into a folder; the names of the files."""
    tap(page, "view save")
    names = []
    while (left := page.locator('[data-key^="save "]')).count():
        with page.expect_download() as download:
            left.first.click()
        names.append(download.value.suggested_filename)
        download.value.save_as(logs / names[-1])
    return names


def workspace(folder: Path) -> Path:
    folder.mkdir()
    (folder / "bench.toml").write_bytes(BENCH.read_bytes())
    return folder


def rows(folder: Path, log: str) -> list[dict[str, str]]:
    files = sorted(folder.glob(f"{log}-*.csv"))
    return [row for file in files for row in csv.DictReader(file.read_text(encoding="utf-8").splitlines())]


def assert_read_whole(folder: Path, expected: int) -> None:
    """`check` uses every row and remarks on nothing."""
    checked = run("check", folder)
    assert checked.status == 0, checked.out
    table = [line.split() for line in checked.out.splitlines() if re.search(r"\.csv +\w", line)]
    assert sum(int(line[2]) for line in table) == expected
    assert all(line[3] == line[2] and set(line[4:]) == {"0"} for line in table)
    assert not re.search(r"set aside:|not read|Read as", checked.out)


def test_an_evening_survives_a_killed_browser_and_reads_without_a_remark(log_page: Path, tmp_path: Path):
    profile, logs = tmp_path / "profile", workspace(tmp_path / "bench")
    with pytest.raises(sync_api.Error, match="closed"):
        tap_until_the_battery_is_dead(log_page, profile)
    with opened(log_page, profile) as page:
        assert "bad" not in page.locator('[data-key="cavity 1"]').inner_text()
        tap(page, "cavity 0")
        tap(page, "cavity 0")
        tap(page, "cavity 0")
        tap(page, "cavity 0")
        choose(page, "Flaw", "short fill")
        page.get_by_label("Mold temperature").fill("305,5")
        tap(page, "done")
        names = save_all(page, logs)
    assert len(names) == 1
    assert re.fullmatch(r"pour-\d{4}-\d\d-\d\d-[a-z]{2}-a\.csv", names[0])
    poured = rows(logs, "pour")
    assert_read_whole(logs, len(poured))
    assert {int(row["fill"]) for row in poured} == {1, 2, 3, 4}
    assert {row["outcome"] for row in poured if row["fill"] in "123"} == {"blank"}
    last = [row for row in poured if row["fill"] == "4"]
    assert sum(int(row["count"]) for row in last) == 5
    assert [row["flaw"] for row in last if row["outcome"] == "reject"] == ["short fill"]
    assert {row["mold_temp [°F]"] for row in last} == {"305.5"}


def tap_until_the_battery_is_dead(log_page: Path, profile: Path) -> None:
    """Three blank fills, then one cavity of the fourth; Chromium writes to disk every few seconds."""
    with opened(log_page, profile) as page:
        choose(page, "Mold", "round-jig")
        for cavity in range(5):
            tap(page, f"cavity {cavity}")
            tap(page, f"cavity {cavity}")
        for _ in range(3):
            tap(page, "done")
        tap(page, "cavity 0")
        time.sleep(6)
        kill(profile)
        tap(page, "done")


def kill(profile: Path) -> None:
    """End the browser of a profile as a dead battery would."""
    found = subprocess.run(["pgrep", "-f", str(profile)], capture_output=True, text=True, check=True)
    for process in map(int, found.stdout.split()):
        if process != os.getpid():
            os.kill(process, signal.SIGKILL)


def test_random_evenings_come_back_as_they_were_tapped(log_page: Path, tmp_path: Path):
    choices = random.Random(20260523)
    with opened(log_page, tmp_path / "profile") as page:
        for evening in range(6):
            logs = workspace(tmp_path / f"bench{evening}")
            tapped = tap_an_evening(page, choices)
            save_all(page, logs)
            poured, baits, fish, stock = (
                rows(logs, log) for log in ("pour", "fishing", "catch", "inventory")
            )
            assert_read_whole(logs, len(poured) + len(baits) + len(fish) + len(stock))
            counts = {"good": 0, "reject": 0, "blank": 0}
            for row in poured:
                counts[row["outcome"]] += int(row["count"])
            assert counts == tapped["cast"]
            assert [(row["build"], row["fate"], row.get("cause", "")) for row in baits] == tapped["ended"]
            assert [(row["species"], row["length [in]"], row["released"]) for row in fish] == tapped["fish"]
            assert [(row["item"], row["move"], row["amount"]) for row in stock] == tapped["stock"]


def tap_an_evening(page: Any, choices: random.Random) -> dict[str, Any]:
    """Tap fills, baits, fish and amounts, some taken back; what must be in the files."""
    cast = {"good": 0, "reject": 0, "blank": 0}
    ended, fish, stock = [], [], []
    outcomes = ("good", "reject", "blank")
    tap(page, "view pot")
    for _ in range(choices.randrange(1, 5)):
        mold = choices.choice(["round-jig", "guard-jig", "pea-jig"])
        choose(page, "Mold", mold)
        cavities = page.locator('[data-key^="cavity "]').count()
        marks = ["good"] * cavities
        for _ in range(choices.randrange(8)):
            place = choices.randrange(cavities)
            tap(page, f"cavity {place}")
            marks[place] = outcomes[(outcomes.index(marks[place]) + 1) % 3]
            if marks[place] == "reject" and choices.random() < 0.7:
                choose(page, "Flaw", choices.choice(["flash", "porosity", "cold shut"]))
        tap(page, "done")
        if choices.random() < 0.3:
            tap(page, "undo")
            tap(page, "done")
        for mark in marks:
            cast[mark] += 1
    tap(page, "view water")
    for _ in range(choices.randrange(1, 4)):
        build = choices.choice(["perch-grub", "pond-guard", "pea-bare"])
        choose(page, "Bait", build)
        page.get_by_role("button", name="Start", exact=True).click()
        if choices.random() < 0.6:
            tap(page, "fish 0")
            species, length, released = choices.choice(["perch", "crappie"]), "9 1/2", choices.random() < 0.5
            page.get_by_label("Another species").fill(species)
            page.get_by_label("Length").fill(length)
            page.get_by_role("button", name="Released" if released else "Kept", exact=True).click()
            fish.append((species, length, "yes" if released else "no"))
        tap(page, "end 0")
        fate, cause = choices.choice([("kept", ""), ("lost", "snag"), ("worn", "torn"), ("lost", "")])
        choose(page, "What became of it", fate)
        if fate != "kept":
            choose(page, "Cause", cause or "not known")
        ended.append((build, fate, cause))
    tap(page, "view shelf")
    for item, amount, unit in choices.sample(
        [("alloy", "850", "g"), ("hook-4", "37", ""), ("pearl", "52.5", "g")], 2
    ):
        page.get_by_role("textbox", name=f"{item}, {unit}" if unit else item, exact=True).fill(amount)
        tap(page, f"keep {item}")
        stock.append((item, "counted", f"{amount} {unit}".strip()))
    return {"cast": cast, "ended": ended, "fish": fish, "stock": stock}


def test_the_page_asks_nothing_of_any_network_and_its_policy_forbids_it(log_page: Path, tmp_path: Path):
    requests: list[str] = []
    with opened(log_page, tmp_path / "profile") as page:
        page.on("request", lambda request: requests.append(request.url))
        page.reload()
        choose(page, "Mold", "round-jig")
        tap(page, "done")
        save_all(page, tmp_path)
        refused = page.evaluate("fetch('https://example.org/').then(() => 'sent', () => 'refused')")
    assert refused == "refused"
    assert {url.partition(":")[0] for url in requests} <= {"file", "blob"}


def test_keys_alone_keep_a_fill_and_targets_are_large_enough_for_a_glove(log_page: Path, tmp_path: Path):
    with opened(log_page, tmp_path / "profile") as page:
        press_until(page, "round-jig")
        press_until(page, "cavity 1")
        press_until(page, "cold shut")
        press_until(page, "done")
        assert "Kept: fill 1 of round-jig" in page.locator("#said").inner_text()
        for view, least in (("pot", 48), ("water", 44), ("shelf", 44), ("save", 44)):
            tap(page, f"view {view}")
            for control in page.locator("button:visible, input:visible, select:visible").all():
                box = control.bounding_box()
                assert min(box["width"], box["height"]) >= least, control.inner_text()
            assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def press_until(page: Any, key: str) -> None:
    """Press Tab until the control is reached, then Enter."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('data-key')") == key:
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"{key} is not reached by Tab")


def test_axe_finds_nothing_on_any_view(log_page: Path, tmp_path: Path):
    axe = axe_core()
    with opened(log_page, tmp_path / "profile") as page:
        page.evaluate(axe)
        choose(page, "Mold", "round-jig")
        tap(page, "cavity 0")
        tap(page, "done")
        for view in ("pot", "water", "shelf", "save"):
            tap(page, f"view {view}")
            found = page.evaluate("axe.run(document).then(found => found.violations.map(each => each.id))")
            assert found == [], view


def test_two_thousand_rows_are_kept_and_saved_once(log_page: Path, tmp_path: Path):
    logs = workspace(tmp_path / "bench")
    with opened(log_page, tmp_path / "profile") as page:
        choose(page, "Mold", "round-jig")
        page.evaluate(
            "for (let fill = 0; fill < 667; fill++) document.querySelector('[data-key=done]').click()"
        )
        page.reload()
        assert "Fill 668" in page.locator("main").inner_text()
        save_all(page, logs)
        assert page.locator('[data-key^="save "]').count() == 0
        with page.expect_download() as again:
            page.locator('[data-key^="again "]').click()
        assert Path(again.value.path()).read_bytes() == next(logs.glob("pour-*.csv")).read_bytes()
    assert_read_whole(logs, 667 * 3)
