"""A line in the user's crontab, where there is nothing better. What else stands there is left alone.

In a crontab `%` ends the command unless a backslash stands before it, inside quotes too (crontab(5)).
"""

import shlex

from benchwater.schedule.timers.job import MARK, Job


def cron_lines(job: Job) -> tuple[str, str]:
    """The comment by which the line is known, and the line."""
    command = shlex.join(job.words).replace("%", "\\%")
    return _mark(job), f"{job.minute} {job.hour} * * * {command}"


def with_job(crontab: str, job: Job) -> str:
    """The crontab with the job's line, once."""
    kept = without_job(crontab, job)
    if kept and not kept.endswith("\n"):
        kept += "\n"
    return kept + "".join(f"{line}\n" for line in cron_lines(job))


def without_job(crontab: str, job: Job) -> str:
    """The crontab without the job's comment and the line below it."""
    kept: list[str] = []
    lines = iter(crontab.splitlines(keepends=True))
    for line in lines:
        if line.rstrip("\n") == _mark(job):
            next(lines, None)
        else:
            kept.append(line)
    return "".join(kept)


def _mark(job: Job) -> str:
    return f"# {MARK}: {job.name}"
