"""The daily run of `due` as each operating system's own timer, shown, installed and removed.

Only files that benchwater wrote are replaced or removed.
"""

import hashlib
import io
import os
import plistlib
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

from benchwater.files import read_own_file, write_atomically

MARK = "Written by benchwater timer"
LOG_NAME = "due.log"
TASK_NAMESPACE = "http://schemas.microsoft.com/windows/2004/02/mit/task"
_SERVICE = """\
# {mark}. `benchwater timer --remove` takes it away.
[Unit]
Description=Season reports that are owed ({folder})

[Service]
Type=oneshot
ExecStart={command}
Nice=10
"""
_TIMER = """\
# {mark}. `benchwater timer --remove` takes it away.
[Unit]
Description=Season reports that are owed, every day ({folder})

[Timer]
OnCalendar=*-*-* {hour:02d}:{minute:02d}:00
Persistent=true

[Install]
WantedBy=timers.target
"""
_TASK = """\
<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="{namespace}">
  <RegistrationInfo>
    <Author>benchwater</Author>
    <Description>{mark}: writes the season reports that are owed, {folder}. \
`benchwater timer --remove` takes it away.</Description>
  </RegistrationInfo>
  <Triggers>
    <CalendarTrigger>
      <StartBoundary>2024-01-01T{hour:02d}:{minute:02d}:00</StartBoundary>
      <ScheduleByDay><DaysInterval>1</DaysInterval></ScheduleByDay>
    </CalendarTrigger>
  </Triggers>
  <Principals>
    <Principal id="Author">
      <LogonType>InteractiveToken</LogonType>
      <RunLevel>LeastPrivilege</RunLevel>
    </Principal>
  </Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <StartWhenAvailable>true</StartWhenAvailable>
    <Enabled>true</Enabled>
    <ExecutionTimeLimit>PT2H</ExecutionTimeLimit>
  </Settings>
  <Actions Context="Author">
    <Exec><Command>{program}</Command><Arguments>{arguments}</Arguments></Exec>
  </Actions>
</Task>
"""
Completed = subprocess.CompletedProcess[str]
Runner = Callable[[Sequence[str], str | None], Completed]


class TimerError(RuntimeError):
    """A timer cannot be shown, set up or removed; the message says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A daily run of `due` for one folder, at an hour and minute. Paths are absolute."""

    python: str
    folder: Path
    out: Path
    log: Path
    hour: int = 6
    minute: int = 30
    workspace_plugins: bool = True

    def __post_init__(self) -> None:
        """Refuse paths that no timer can hold."""
        for text in (self.python, str(self.folder), str(self.out), str(self.log)):
            is_text = all(character < "\ud800" or character > "\udfff" for character in text)
            if not is_text or any(ord(character) < 32 or ord(character) == 127 for character in text):
                raise TimerError(f"no timer can hold the path {text!r}: rename what has unusual characters")

    @property
    def name(self) -> str:
        """`benchwater-my-bench-1a2b3c4d`: the same for the same folder, another for any other."""
        plain = re.sub(r"[^a-z0-9]+", "-", self.folder.name.lower()).strip("-")[:40]
        digest = hashlib.sha256(str(self.folder).encode("utf-8", "surrogatepass")).hexdigest()[:8]
        return "-".join(part for part in ("benchwater", plain, digest) if part)

    @property
    def words(self) -> tuple[str, ...]:
        """The command as separate words; each system quotes them in its own way."""
        command = [self.python, "-P", "-m", "benchwater", "due"]
        command += ["--out", str(self.out), "--log", str(self.log)]
        if not self.workspace_plugins:
            command.append("--no-workspace-plugins")
        return (*command, "--", str(self.folder))


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerFile:
    """A file of a timer. `data` contains MARK, which shows that benchwater wrote it."""

    path: Path
    data: bytes
    encoding: str = "utf-8"

    @property
    def text(self) -> str:
        return self.data.decode(self.encoding)

    def is_ours(self) -> bool:
        """Return whether benchwater wrote the file at this path, or none is there. OSError for a link."""
        try:
            return MARK in read_own_file(self.path).decode(self.encoding, "replace")
        except FileNotFoundError:
            return True

    def is_in_place(self) -> bool:
        """Return whether the file at this path has this content. OSError for a link."""
        try:
            return read_own_file(self.path) == self.data
        except FileNotFoundError:
            return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """What one system needs: files, and the commands that switch the timer on and off.

    A command in `off` may fail, because the timer may not be on. `after_removal` runs once the files are
    removed. `note` is for the maker.
    """

    system: str
    files: tuple[TimerFile, ...]
    on: tuple[Sequence[str], ...]
    off: tuple[Sequence[str], ...]
    after_removal: tuple[Sequence[str], ...] = ()
    note: str = ""


def systemd_timer(job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """Return a systemd user timer: two units below `$XDG_CONFIG_HOME/systemd/user`.

    Persistent: systemd makes up for a run missed while the computer slept. Quoting as in systemd.service(5),
    "Command lines", and systemd.syntax(7); `%` begins a specifier.
    """
    config = environment.get("XDG_CONFIG_HOME", "")
    folder = (Path(config) if Path(config).is_absolute() else home / ".config") / "systemd" / "user"
    unit = f"{job.name}.timer"
    described = str(job.folder).replace("%", "%%")
    service = _SERVICE.format(mark=MARK, folder=described, command=_command(job))
    timer = _TIMER.format(mark=MARK, folder=described, hour=job.hour, minute=job.minute)
    return Timer(
        system="systemd",
        files=(
            TimerFile(path=folder / f"{job.name}.service", data=service.encode()),
            TimerFile(path=folder / unit, data=timer.encode()),
        ),
        on=(("systemctl", "--user", "daemon-reload"), ("systemctl", "--user", "enable", "--now", unit)),
        off=(("systemctl", "--user", "disable", "--now", unit),),
        after_removal=(("systemctl", "--user", "daemon-reload"),),
        note=(
            "It runs while you are logged in, and catches up when you log in. To have it run without: "
            "loginctl enable-linger"
        ),
    )


def quoted(word: str) -> str:
    """Quote one word of ExecStart; the `:` before the command keeps systemd from expanding `$`."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped}"'


def _command(job: Job) -> str:
    """Return ExecStart. systemd takes no quotes or backslashes in a program's path: a shell starts those."""
    words = job.words
    if any(character in job.python for character in "\"'\\"):
        words = ("/bin/sh", "-c", 'exec "$@"', "sh", *words)
    return ":" + " ".join(quoted(word) for word in words)


def launchd_timer(job: Job, home: Path, user_id: int) -> Timer:
    """Return a launchd agent: a property list in `~/Library/LaunchAgents`.

    It runs daily, on waking if the hour was slept through, and at login.
    """
    path = home / "Library" / "LaunchAgents" / f"{job.name}.plist"
    domain = f"gui/{user_id}"
    return Timer(
        system="launchd",
        files=(TimerFile(path=path, data=_plist(job)),),
        on=(
            ("launchctl", "bootout", f"{domain}/{job.name}"),
            ("launchctl", "bootstrap", domain, str(path)),
        ),
        off=(("launchctl", "bootout", f"{domain}/{job.name}"),),
        note="A run slept through is made up for on waking, one missed while switched off at the next login.",
    )


def _plist(job: Job) -> bytes:
    data = plistlib.dumps(
        {
            "Label": job.name,
            "ProgramArguments": list(job.words),
            "StartCalendarInterval": {"Hour": job.hour, "Minute": job.minute},
            "RunAtLoad": True,
            "ProcessType": "Background",
        },
        sort_keys=False,
    )
    mark = f"<!-- {MARK}. `benchwater timer` with the option remove takes it away. -->\n".encode()
    head, start, rest = data.partition(b"<plist")
    return head + mark + start + rest


def task_scheduler_timer(job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """Return a task of the Windows Task Scheduler, `\\benchwater\\<name>`, from XML below `%LOCALAPPDATA%`.

    The XML is UTF-16, as `schtasks /Create /XML` takes it; elements and their order as in Microsoft's Task
    Scheduler schema, version 1.2.
    """
    local = environment.get("LOCALAPPDATA", "")
    base = Path(local) if local else home / "AppData" / "Local"
    path = base / "benchwater" / f"{job.name}.xml"
    task = f"\\benchwater\\{job.name}"
    return Timer(
        system="schtasks",
        files=(TimerFile(path=path, data=_xml(job).encode("utf-16"), encoding="utf-16"),),
        on=(("schtasks", "/Create", "/TN", task, "/XML", str(path), "/F"),),
        off=(("schtasks", "/Delete", "/TN", task, "/F"),),
        note="A run missed while the computer was off is made up for when you are next logged on.",
    )


def _xml(job: Job) -> str:
    program, *arguments = job.words
    return _TASK.format(
        namespace=TASK_NAMESPACE,
        mark=MARK,
        folder=escape(str(job.folder)),
        hour=job.hour,
        minute=job.minute,
        program=escape(program),
        arguments=escape(subprocess.list2cmdline(arguments)),
    )


def cron_lines(job: Job) -> tuple[str, str]:
    """Return the crontab's comment that marks the line, and the line.

    In a crontab `%` ends the command unless a backslash stands before it, inside quotes too (crontab(5)).
    """
    command = shlex.join(job.words).replace("%", "\\%")
    return _mark(job), f"{job.minute} {job.hour} * * * {command}"


def with_job(crontab: str, job: Job) -> str:
    """Return the crontab with the job's line in it once."""
    kept = without_job(crontab, job)
    if kept and not kept.endswith("\n"):
        kept += "\n"
    return kept + "".join(f"{line}\n" for line in cron_lines(job))


def without_job(crontab: str, job: Job) -> str:
    """Return the crontab without the job's comment and the line below it."""
    kept: list[str] = []
    lines = iter(io.StringIO(crontab, newline="\n"))
    for line in lines:
        if line.rstrip("\n") == _mark(job):
            next(lines, None)
        else:
            kept.append(line)
    return "".join(kept)


def _mark(job: Job) -> str:
    return f"# {MARK}: {job.name}"


def run_command(words: Sequence[str], given: str | None = None) -> Completed:
    """Run a system command with a text on its standard input. TimerError if it cannot be started."""
    try:
        return subprocess.run(
            words, input=given, capture_output=True, text=True, errors="surrogateescape", check=False
        )
    except OSError as error:
        raise TimerError(f"`{words[0]}` cannot be run: {error.strerror or error}") from error


def this_system(platform: str = sys.platform, which: Callable[[str], str | None] = shutil.which) -> str:
    """Return the timer that this computer has. TimerError if it has none of the four."""
    if platform == "darwin":
        return "launchd"
    if platform == "win32":
        return "schtasks"
    if which("systemctl") and Path("/run/systemd/system").is_dir():
        return "systemd"
    if which("crontab"):
        return "cron"
    raise TimerError(
        "this computer has no timer that is known (systemd, launchd, Task Scheduler, cron): have whatever "
        "it has run `benchwater due` once a day, or name one with --system"
    )


def timer_for(system: str, job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """Return the timer of a system that keeps it in files: all but cron."""
    if system == "systemd":
        return systemd_timer(job, home, environment)
    if system == "launchd":
        return launchd_timer(job, home, os.getuid() if hasattr(os, "getuid") else 0)
    return task_scheduler_timer(job, home, environment)


def install(timer: Timer, run: Runner) -> Iterator[str]:
    """Write the files and switch the timer on; yield each step. A second run changes nothing."""
    for file in timer.files:
        _refuse_foreign(file)
    _refuse_foreign_task(timer, run)
    for file in timer.files:
        if file.is_in_place():
            yield f"Already there: {file.path}"
            continue
        file.path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(file.path, file.data)
        yield f"Wrote {file.path}"
    *first, last = timer.on
    for words in first:
        run(words, None)
    _check(run(last, None), last)
    yield f"Switched on: {' '.join(last)}"


def remove(timer: Timer, run: Runner) -> Iterator[str]:
    """Switch the timer off and remove its files; yield each step. It may be absent."""
    there = [file for file in timer.files if file.path.exists()]
    for file in there:
        _refuse_foreign(file)
    if not there:
        yield "There is no timer for this folder."
        return
    for words in timer.off:
        run(words, None)
    for file in there:
        file.path.unlink(missing_ok=True)
        yield f"Removed {file.path}"
    for words in timer.after_removal:
        run(words, None)


def update_crontab(job: Job, run: Runner, *, install: bool) -> Iterator[str]:
    """Put the job's line into the crontab, or (`install` False) take it out; yield what was done.

    TimerError if the crontab cannot be read: it must not pass for an empty one.
    """
    read, write = ("crontab", "-l"), ("crontab", "-")
    completed = run(read, None)
    is_empty = completed.returncode != 0 and "no crontab" in completed.stderr.lower()
    if not is_empty:
        _check(completed, read)
    before = "" if is_empty else completed.stdout
    after = with_job(before, job) if install else without_job(before, job)
    if after == before:
        yield "Already in your crontab." if install else "There is no timer for this folder."
        return
    _check(run(write, after), write)
    yield "Added to your crontab (`crontab -l` shows it)." if install else "Taken out of your crontab."


def _check(completed: Completed, words: Sequence[str]) -> None:
    if completed.returncode != 0:
        output = " ".join((completed.stderr or completed.stdout).split()) or "no reason"
        raise TimerError(f"`{' '.join(words)}` did not work (status {completed.returncode}): {output}")


def _refuse_foreign(file: TimerFile) -> None:
    if not file.is_ours():
        raise TimerError(
            f"{file.path} was not written by benchwater and is left as it is: move it away first"
        )


def _refuse_foreign_task(timer: Timer, run: Runner) -> None:
    """Refuse a task of that name that benchwater did not make; only Windows keeps tasks apart from files."""
    if timer.system != "schtasks" or any(file.path.exists() for file in timer.files):
        return
    task = timer.on[-1][3]
    completed = run(("schtasks", "/Query", "/TN", task, "/XML"), None)
    if completed.returncode == 0 and MARK not in completed.stdout:
        raise TimerError(f"the task {task} was not made by benchwater and is left as it is")
