"""The table of a trial."""

from benchwater.plugin import Table
from benchwater.words import make_columns, make_table

from .compute import Trial


def table(trial: Trial) -> Table:
    """One row an arm."""
    exposure = ("exposure", "h fished", "h") if trial.log == "fishing" else ("exposure", "Castings")
    columns = make_columns(
        ("arm", "Arm"),
        ("units", "Lines" if trial.log == "fishing" else "Fills"),
        exposure,
        ("events", "Ended" if trial.log == "fishing" else "Bad"),
        ("rate", "Rate", "1/h" if trial.log == "fishing" else "1"),
    )
    rows = [(arm.name, arm.units, arm.exposure, arm.events, arm.rate) for arm in trial.arms]
    return make_table("arms", "The arms of the trial", "arm units exposure events rate", rows, columns)
