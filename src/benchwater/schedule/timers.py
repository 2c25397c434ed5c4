"""The daily run of `due` as each operating system's own timer: systemd, launchd, Task Scheduler, cron."""

import hashlib
import io
import plistlib
import re
import shlex
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from benchwater.files import read_own_file

MARK = "Written by benchwater timer"
LOG_NAME = "due.log"
TASK_NAMESPACE = "http://schemas.microsoft.com/windows/2004/02/mit/task"
_FIRST_DAY = "2024-01-01"


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
        """The content as text."""
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
    return Timer(
        system="systemd",
        files=(
            TimerFile(path=folder / f"{job.name}.service", data=_service(job).encode()),
            TimerFile(path=folder / unit, data=_timer(job).encode()),
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


def _described(job: Job) -> str:
    return str(job.folder).replace("%", "%%")


def _service(job: Job) -> str:
    return (
        f"# {MARK}. `benchwater timer --remove` takes it away.\n"
        "[Unit]\n"
        f"Description=Season reports that are owed ({_described(job)})\n"
        "\n"
        "[Service]\n"
        "Type=oneshot\n"
        f"ExecStart={_command(job)}\n"
        "Nice=10\n"
    )


def _timer(job: Job) -> str:
    return (
        f"# {MARK}. `benchwater timer --remove` takes it away.\n"
        "[Unit]\n"
        f"Description=Season reports that are owed, every day ({_described(job)})\n"
        "\n"
        "[Timer]\n"
        f"OnCalendar=*-*-* {job.hour:02d}:{job.minute:02d}:00\n"
        "Persistent=true\n"
        "\n"
        "[Install]\n"
        "WantedBy=timers.target\n"
    )


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
    task = Element("Task", {"version": "1.2", "xmlns": TASK_NAMESPACE})
    about = SubElement(task, "RegistrationInfo")
    SubElement(about, "Author").text = "benchwater"
    SubElement(about, "Description").text = (
        f"{MARK}: writes the season reports that are owed, {job.folder}. "
        "`benchwater timer --remove` takes it away."
    )
    trigger = SubElement(SubElement(task, "Triggers"), "CalendarTrigger")
    SubElement(trigger, "StartBoundary").text = f"{_FIRST_DAY}T{job.hour:02d}:{job.minute:02d}:00"
    SubElement(SubElement(trigger, "ScheduleByDay"), "DaysInterval").text = "1"
    principal = SubElement(SubElement(task, "Principals"), "Principal", {"id": "Author"})
    SubElement(principal, "LogonType").text = "InteractiveToken"
    SubElement(principal, "RunLevel").text = "LeastPrivilege"
    settings = SubElement(task, "Settings")
    for name, value in (
        ("MultipleInstancesPolicy", "IgnoreNew"),
        ("DisallowStartIfOnBatteries", "false"),
        ("StopIfGoingOnBatteries", "false"),
        ("StartWhenAvailable", "true"),
        ("Enabled", "true"),
        ("ExecutionTimeLimit", "PT2H"),
    ):
        SubElement(settings, name).text = value
    program, *arguments = job.words
    action = SubElement(SubElement(task, "Actions", {"Context": "Author"}), "Exec")
    SubElement(action, "Command").text = program
    SubElement(action, "Arguments").text = subprocess.list2cmdline(arguments)
    indent(task)
    return '<?xml version="1.0" encoding="UTF-16"?>\n' + tostring(task, encoding="unicode") + "\n"


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
