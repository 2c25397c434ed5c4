import os
import plistlib
import re
import shlex
import shutil
import stat
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import pytest

from benchwater.schedule.timers import (
    MARK,
    TASK_NAMESPACE,
    Job,
    TimerError,
    cron_lines,
    install,
    quoted,
    remove,
    run_command,
    this_system,
    timer_for,
    update_crontab,
    with_job,
    without_job,
)
from schedule.published_formats import LAUNCHD, LAUNCHD_NEEDED, TASK, faults

AWKWARD = (
    "plain",
    "with spaces  two",
    'it\'s "quoted"',
    "100% $HOME ${HOME} %h %% \\x41 ends with \\",
    "<tag> & ; # | `pwd` $(pwd) * ? ~ ! [a]",
    "Käscher 鱼 — 🎣",
    "-dash",
)


def job(folder: str = "my bench", python: str = "/usr/bin/python3", **changes) -> Job:
    base = Path("/home/me") / folder
    made = Job(python=python, folder=base, out=base / "reports", log=base / "reports" / "due.log")
    return replace(made, **changes)


def completed(status: int = 0, out: str = "", err: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.CompletedProcess((), status, out, err)


class Computer:
    """Stands in for the system: notes what it is asked to run, and answers as told."""

    def __init__(self, **answers: subprocess.CompletedProcess[str]) -> None:
        self.asked: list[tuple[str, ...]] = []
        self.crontab: str | None = None
        self.answers = answers

    def __call__(self, words, given):
        self.asked.append(tuple(words))
        if words == ("crontab", "-l"):
            if self.crontab is None:
                return completed(status=1, err="no crontab for me\n")
            return completed(status=0, out=self.crontab)
        if words == ("crontab", "-"):
            self.crontab = given
        return next((answer for word, answer in self.answers.items() if word in words), completed(status=0))


def systemd_words(line: str) -> list[str]:
    """A command line as systemd.service(5) says it is read: quotes, escapes, specifiers."""
    words = re.findall(r'"((?:[^"\\]|\\.)*)"', line)
    assert " ".join(f'"{word}"' for word in words) == line
    plain = [re.sub(r"\\(.)", lambda found: {"\\": "\\", '"': '"'}[found[1]], word) for word in words]
    assert all("%" not in word.replace("%%", "") for word in plain)
    return [word.replace("%%", "%") for word in plain]


@pytest.mark.parametrize("name", AWKWARD)
def test_every_system_runs_the_exact_command_for_any_path(name, tmp_path):
    made = job(name)
    service, _ = timer_for("systemd", made, tmp_path, {}).files
    command = next(line for line in service.text.splitlines() if line.startswith("ExecStart="))
    assert command.startswith("ExecStart=:"), "no $ is replaced"
    assert systemd_words(command.removeprefix("ExecStart=:")) == list(made.words)

    (agent,) = timer_for("launchd", made, tmp_path, {}).files
    assert plistlib.loads(agent.data)["ProgramArguments"] == list(made.words)

    (task,) = timer_for("schtasks", made, tmp_path, {}).files
    action = ElementTree.fromstring(task.data).find(f".//{{{TASK_NAMESPACE}}}Exec")
    assert action is not None
    program, arguments = (action.findtext(f"{{{TASK_NAMESPACE}}}{tag}") for tag in ("Command", "Arguments"))
    assert program == made.words[0]
    assert arguments == subprocess.list2cmdline(made.words[1:])

    _, line = cron_lines(made)
    minute, hour, *_ = line.split(" ")
    command = line.split(" ", 5)[5]
    assert not re.search(r"(?<!\\)%", command), "a bare % ends a command in a crontab"
    assert (minute, hour) == ("30", "6")
    assert shlex.split(command.replace("\\%", "%")) == list(made.words)


@pytest.mark.skipif(not shutil.which("sh"), reason="needs a shell")
@pytest.mark.parametrize("name", AWKWARD)
def test_a_shell_runs_the_exact_command_from_the_cron_line(name, tmp_path):
    show = tmp_path / "show words"
    show.write_text("#!/bin/sh\nfor word; do printf '%s\\n' \"$word\"; done\n")
    show.chmod(0o755)
    made = job(name, python=str(show))
    command = cron_lines(made)[1].split(" ", 5)[5].replace("\\%", "%")
    shown = subprocess.run(["/bin/sh", "-c", command], capture_output=True, text=True, check=True).stdout
    assert shown.splitlines() == list(made.words[1:])


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="needs systemd-analyze")
@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize("awkward_python", [False, True])
def test_systemd_accepts_the_units(name, awkward_python, tmp_path, monkeypatch):
    runtime = tmp_path / "run"
    runtime.mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(runtime))
    python = sys.executable
    if awkward_python:
        folder = tmp_path / name
        folder.mkdir()
        (folder / "python").symlink_to(sys.executable)
        python = str(folder / "python")
    timer = timer_for("systemd", job(name, python=python), tmp_path, {})
    list(install(timer, Computer()))
    paths = [str(file.path) for file in timer.files]
    checked = subprocess.run(
        ["systemd-analyze", "--user", "verify", *paths], capture_output=True, text=True, check=False
    )
    about_ours = [line for line in checked.stderr.splitlines() if "benchwater-" in line]
    assert (checked.returncode, about_ours) == (0, []), checked.stderr


def test_a_missed_run_is_made_up_for_on_every_system(tmp_path):
    _, timer = timer_for("systemd", job(hour=7, minute=5), tmp_path, {}).files
    assert "OnCalendar=*-*-* 07:05:00\nPersistent=true\n" in timer.text
    (agent,) = timer_for("launchd", job(hour=7, minute=5), tmp_path, {}).files
    said = plistlib.loads(agent.data)
    assert said["StartCalendarInterval"] == {"Hour": 7, "Minute": 5}
    assert said["RunAtLoad"] is True
    assert said["Label"] == agent.path.stem
    (task,) = timer_for("schtasks", job(hour=7, minute=5), tmp_path, {}).files
    root = ElementTree.fromstring(task.data)
    assert root.findtext(f".//{{{TASK_NAMESPACE}}}StartWhenAvailable") == "true"
    assert root.findtext(f".//{{{TASK_NAMESPACE}}}StartBoundary", "").endswith("T07:05:00")


@pytest.mark.parametrize("name", AWKWARD)
def test_the_agent_holds_only_keys_that_launchd_documents_each_of_its_type(name, tmp_path):
    (agent,) = timer_for("launchd", job(name, hour=23, minute=59), tmp_path, {}).files
    said = plistlib.loads(agent.data)
    assert LAUNCHD_NEEDED <= set(said) <= set(LAUNCHD)
    assert [key for key, value in said.items() if not LAUNCHD[key](value)] == []
    assert agent.path == tmp_path / "Library/LaunchAgents" / f"{said['Label']}.plist"


@pytest.mark.parametrize("name", AWKWARD)
def test_the_task_is_utf16_and_what_the_published_schema_says_a_task_is(name, tmp_path):
    (task,) = timer_for("schtasks", job(name), tmp_path, {}).files
    assert task.data[:2] in {b"\xff\xfe", b"\xfe\xff"}
    root = ElementTree.fromstring(task.data)
    assert root.tag == f"{{{TASK_NAMESPACE}}}Task"
    assert root.get("version") == "1.2"
    assert list(faults(root, TASK, TASK_NAMESPACE)) == []
    context = root.find(f"{{{TASK_NAMESPACE}}}Actions")
    principal = root.find(f".//{{{TASK_NAMESPACE}}}Principal")
    assert context is not None
    assert principal is not None
    assert context.get("Context") == principal.get("id")


def crontab_that_checks() -> str | None:
    """Debian's crontab, which can check a file and leave it at that."""
    program = shutil.which("crontab")
    if program is None:
        return None
    usage = subprocess.run([program, "-h"], capture_output=True, text=True, check=False)
    return program if "-n\t(dry run" in usage.stdout + usage.stderr else None


@pytest.mark.skipif(not crontab_that_checks(), reason="needs a crontab with a dry run")
@pytest.mark.parametrize("name", AWKWARD)
def test_crontab_accepts_the_lines(name, tmp_path):
    program = crontab_that_checks()
    assert program is not None
    file = tmp_path / "lines"
    file.write_text(with_job("MAILTO=me\n", job(name)), encoding="utf-8")
    subprocess.run([program, "-n", file], check=True, capture_output=True)
    file.write_text("30 6 * * task\n")
    assert subprocess.run([program, "-n", file], check=False, capture_output=True).returncode


def test_two_folders_of_one_name_have_two_timers_and_one_folder_always_the_same(tmp_path):
    one, two = job("bench"), replace(job("bench"), folder=Path("/elsewhere/bench"))
    assert one.name != two.name
    assert one.name == job("bench", hour=9).name
    assert re.fullmatch(r"benchwater-k-scher-[0-9a-f]{8}", job("Käscher 鱼").name)


@pytest.mark.parametrize("name", ["line\nbreak", "bell\x07", "broken\udcff"])
def test_a_path_that_no_timer_can_hold_is_refused(name):
    with pytest.raises(TimerError, match="rename"):
        job(name)


@pytest.mark.parametrize("system", ["systemd", "launchd", "schtasks"])
def test_installing_and_removing_twice_equals_once_and_leaves_nothing_behind(system, tmp_path):
    computer = Computer(**{"/Query": completed(status=1)})
    timer = timer_for(system, job(), tmp_path, {})
    first = list(install(timer, computer))
    assert [line for line in first if line.startswith("Wrote")] == [
        f"Wrote {file.path}" for file in timer.files
    ]
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert len(before) == len(timer.files)
    again = list(install(timer, computer))
    assert not [line for line in again if line.startswith("Wrote")]
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    assert computer.asked[-1] == tuple(timer.on[-1])
    later = timer_for(system, job(hour=22), tmp_path, {})
    assert any(line.startswith("Wrote") for line in list(install(later, computer)))
    assert len([line for line in remove(timer, computer) if line.startswith("Removed")]) == len(timer.files)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]
    assert tuple(timer.off[0]) in computer.asked
    assert list(remove(timer, computer)) == ["There is no timer for this folder."]


@pytest.mark.parametrize("system", ["systemd", "launchd", "schtasks"])
def test_a_file_that_benchwater_did_not_write_is_never_touched_and_nothing_is_switched(system, tmp_path):
    timer = timer_for(system, job(), tmp_path, {})
    foreign = timer.files[-1].path
    foreign.parent.mkdir(parents=True)
    foreign.write_text("mine", encoding="utf-16" if system == "schtasks" else "utf-8")
    before = foreign.read_bytes()
    computer = Computer()
    for act in (install, remove):
        with pytest.raises(TimerError, match="not written by benchwater"):
            list(act(timer, computer))
    assert foreign.read_bytes() == before
    assert computer.asked == []
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [foreign]


def test_a_windows_task_that_benchwater_did_not_make_is_never_replaced(tmp_path):
    timer = timer_for("schtasks", job(), tmp_path, {"LOCALAPPDATA": str(tmp_path / "Local")})
    assert timer.files[0].path.is_relative_to(tmp_path / "Local")
    with pytest.raises(TimerError, match="not made by benchwater"):
        list(install(timer, Computer(**{"/Query": completed(status=0, out="<Task/>")})))
    list(install(timer, Computer(**{"/Query": completed(status=0, out=f"<Task>{MARK}</Task>")})))


def test_the_systems_own_error_is_in_the_message(tmp_path):
    timer = timer_for("systemd", job(), tmp_path, {"XDG_CONFIG_HOME": str(tmp_path / "xdg")})
    assert timer.files[0].path.parent == tmp_path / "xdg" / "systemd" / "user"
    with pytest.raises(TimerError, match="No medium found"):
        list(
            install(
                timer, Computer(enable=completed(status=1, err="Failed to connect to bus:\nNo medium found"))
            )
        )


def test_a_crontab_keeps_its_other_lines_and_holds_this_one_once(tmp_path):
    computer = Computer()
    computer.crontab = "MAILTO=me\n# my own\n0 4 * * * backup 50\\%"
    mine = computer.crontab
    list(update_crontab(job(), computer, install=True))
    list(update_crontab(job(hour=9), computer, install=True))
    assert computer.crontab.startswith(f"{mine}\n")
    assert computer.crontab.count("benchwater due") == 1
    assert "30 9 * * *" in computer.crontab
    asked = len(computer.asked)
    assert list(update_crontab(job(hour=9), computer, install=True)) == ["Already in your crontab."]
    assert len(computer.asked) == asked + 1
    other = with_job(computer.crontab, job("another"))
    assert without_job(other, job()).count("benchwater due") == 1
    list(update_crontab(job(), computer, install=False))
    assert computer.crontab == f"{mine}\n"
    assert list(update_crontab(job(), computer, install=False)) == ["There is no timer for this folder."]


def test_a_first_crontab_is_written_and_one_that_cannot_be_read_is_never_replaced():
    computer = Computer()
    list(update_crontab(job(), computer, install=True))
    assert computer.crontab is not None
    locked = Computer()
    locked.asked = []

    def refusing(words, given):
        locked.asked.append(tuple(words))
        return completed(status=1, err="you are not allowed to use this program")

    with pytest.raises(TimerError, match="not allowed"):
        list(update_crontab(job(), refusing, install=True))
    assert ("crontab", "-") not in locked.asked


def test_the_timer_is_chosen_by_platform_and_tools():
    assert this_system("darwin") == "launchd"
    assert this_system("win32") == "schtasks"
    assert this_system("linux", lambda tool: "/usr/bin/crontab" if tool == "crontab" else None) == "cron"
    with pytest.raises(TimerError, match="once a day"):
        this_system("linux", lambda tool: None)


def test_quoting_is_undone_by_reading():
    for name in AWKWARD:
        assert systemd_words(quoted(name)) == [name]


def test_files_are_readable_by_their_owner_and_whole(tmp_path):
    timer = timer_for("systemd", job(), tmp_path, {})
    list(install(timer, Computer()))
    for file in timer.files:
        assert file.path.stat().st_mode & stat.S_IRUSR
        assert file.path.read_bytes() == file.data
        assert MARK in file.text


@pytest.mark.parametrize("separator", ["\u2028", "\x85", "\x1c", "\x0c"])
def test_only_a_line_feed_ends_a_line_of_a_crontab(separator):
    mine = f"0 4 * * * backup 'a{separator}# {MARK}: {job().name}{separator}b'\n"
    with_mine = with_job(mine, job())
    assert with_mine.startswith(mine)
    assert without_job(with_mine, job()) == mine


@pytest.mark.parametrize("separator", ["\u2028", "\x85"])
def test_the_job_of_a_folder_named_with_a_line_separator_is_one_line_and_is_removed_whole(separator):
    awkward = job(f"my{separator}0 0 * * * bench")
    assert with_job("", awkward).count("\n") == 2
    assert without_job(with_job("MAILTO=me\n", awkward), awkward) == "MAILTO=me\n"


@pytest.mark.skipif(os.name == "nt", reason="needs cat")
def test_what_a_command_says_and_is_given_keeps_its_bytes():
    said = run_command(["cat"], "ü \udce9\n").stdout
    assert said == "ü \udce9\n"
