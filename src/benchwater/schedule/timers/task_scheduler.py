"""A task of the Windows Task Scheduler, as the XML (UTF-16) that `schtasks /Create /XML` takes.

Elements and their order as in Microsoft's Task Scheduler schema, version 1.2.
"""

import subprocess
from collections.abc import Mapping
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from benchwater.schedule.timers.job import MARK, Job, Timer, TimerFile

NAMESPACE = "http://schemas.microsoft.com/windows/2004/02/mit/task"
_FIRST_DAY = "2024-01-01"


def task_scheduler_timer(job: Job, home: Path, environment: Mapping[str, str]) -> Timer:
    """The task's XML, kept below `%LOCALAPPDATA%`, and the task `\\benchwater\\<name>` made from it."""
    local = environment.get("LOCALAPPDATA", "")
    base = Path(local) if local else home / "AppData" / "Local"
    path = base / "benchwater" / f"{job.name}.xml"
    task = f"\\benchwater\\{job.name}"
    return Timer(
        system="schtasks",
        tool="schtasks",
        files=(TimerFile(path=path, data=_xml(job).encode("utf-16"), encoding="utf-16"),),
        on=(("schtasks", "/Create", "/TN", task, "/XML", str(path), "/F"),),
        off=(("schtasks", "/Delete", "/TN", task, "/F"),),
        note="A run missed while the computer was off is made up for when you are next logged on.",
    )


def _xml(job: Job) -> str:
    task = Element("Task", {"version": "1.2", "xmlns": NAMESPACE})
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
