"""A systemd user timer. Persistent: a run missed while the computer slept is made up for.

Quoting as in systemd.service(5), "Command lines", and systemd.syntax(7); `%` begins a specifier.
"""

from collections.abc import Mapping
from pathlib import Path

from benchwater.schedule.timers.job import MARK, Job, Timer, TimerFile


def systemd_timer(job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """The two units, below `$XDG_CONFIG_HOME/systemd/user`."""
    config = environment.get("XDG_CONFIG_HOME", "")
    folder = (Path(config) if Path(config).is_absolute() else home / ".config") / "systemd" / "user"
    unit = f"{job.name}.timer"
    return Timer(
        system="systemd",
        tool="systemctl",
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
    """One word of ExecStart; the `:` before the command keeps `$` from being replaced."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped}"'


def _command(job: Job) -> str:
    """systemd takes no quotes or backslashes in the path of what it starts: a shell then starts it."""
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
