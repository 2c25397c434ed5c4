"""A launchd agent on macOS: daily, after waking where the hour was slept through, and at login."""

import plistlib
from pathlib import Path

from benchwater.schedule.timers.job import MARK, Job, Timer, TimerFile


def launchd_timer(job: Job, home: Path, user_id: int) -> Timer:
    """The agent's property list, in `~/Library/LaunchAgents`."""
    path = home / "Library" / "LaunchAgents" / f"{job.name}.plist"
    domain = f"gui/{user_id}"
    return Timer(
        system="launchd",
        tool="launchctl",
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
