"""What is published of the files that launchd and the Task Scheduler take, to hold ours against.

launchd: launchd.plist(5), the keys with their types. Task Scheduler: the complex and simple types of the
Task Scheduler schema in Microsoft's documentation (Win32, TaskSchd), as far as ours uses them. There `all`
allows the children in any order, `sequence` in the one given; each at most once.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from xml.etree.ElementTree import Element

CALENDAR = {"Minute": range(60), "Hour": range(24)}
LAUNCHD: Mapping[str, Callable[[object], bool]] = {
    "Label": lambda value: isinstance(value, str) and bool(value),
    "ProgramArguments": lambda value: isinstance(value, list) and all(type(word) is str for word in value),
    "RunAtLoad": lambda value: type(value) is bool,
    "StartCalendarInterval": lambda value: (
        isinstance(value, dict)
        and all(type(number) is int and number in CALENDAR[key] for key, number in value.items())
    ),
    "ProcessType": lambda value: value in {"Background", "Standard", "Adaptive", "Interactive"},
}
LAUNCHD_NEEDED = {"Label", "ProgramArguments"}

BOOLEAN = r"true|false|1|0"
DATE_TIME = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)?"
DURATION = r"P(\d+Y)?(\d+M)?(\d+D)?(T(?=\d)(\d+H)?(\d+M)?(\d+S)?)?"
STRING, NON_EMPTY, PATH = r"(?s).*", r"(?s).+", r"(?s).{1,260}"


@dataclass(frozen=True)
class Children:
    """The children an element may have, by name: the pattern of a simple type, or a type of this table."""

    named: Mapping[str, "str | Children"]
    in_order: bool = False
    needed: frozenset[str] = frozenset()


TRIGGER = Children(
    {
        "Enabled": BOOLEAN,
        "StartBoundary": DATE_TIME,
        "EndBoundary": DATE_TIME,
        "ExecutionTimeLimit": DURATION,
        "RandomDelay": DURATION,
        "ScheduleByDay": Children({"DaysInterval": r"[1-9]\d?|[12]\d\d|3[0-5]\d|36[0-5]"}),
    },
    in_order=True,
    needed=frozenset({"StartBoundary", "ScheduleByDay"}),
)
SETTINGS = Children(
    {
        "MultipleInstancesPolicy": "Parallel|Queue|IgnoreNew|StopExisting",
        **dict.fromkeys(("AllowStartOnDemand", "AllowHardTerminate", "Enabled", "Hidden"), BOOLEAN),
        **dict.fromkeys(("DisallowStartIfOnBatteries", "StopIfGoingOnBatteries"), BOOLEAN),
        **dict.fromkeys(("StartWhenAvailable", "RunOnlyIfNetworkAvailable", "WakeToRun"), BOOLEAN),
        "ExecutionTimeLimit": DURATION,
    }
)
PRINCIPAL = Children(
    {
        "UserId": NON_EMPTY,
        "GroupId": NON_EMPTY,
        "DisplayName": STRING,
        "LogonType": "S4U|Password|InteractiveToken|InteractiveTokenOrPassword",
        "RunLevel": "LeastPrivilege|HighestAvailable",
    }
)
REGISTRATION = Children(dict.fromkeys(("Author", "Description", "Documentation", "Source"), STRING))
EXEC = Children(
    {"Command": PATH, "Arguments": STRING, "WorkingDirectory": PATH}, needed=frozenset({"Command"})
)
TASK = Children(
    {
        "RegistrationInfo": REGISTRATION,
        "Triggers": Children({"CalendarTrigger": TRIGGER}),
        "Settings": SETTINGS,
        "Principals": Children({"Principal": PRINCIPAL}),
        "Actions": Children({"Exec": EXEC}, needed=frozenset({"Exec"})),
    },
    needed=frozenset({"Actions"}),
)


def faults(element: Element, children: Children, namespace: str) -> Iterator[str]:
    """Where an element is not what its type says, one sentence each."""
    names = [child.tag.removeprefix(f"{{{namespace}}}") for child in element]
    known = list(children.named)
    yield from (f"{element.tag} lacks {name}" for name in children.needed - set(names))
    yield from (f"{element.tag} has {name} twice" for name in set(names) if names.count(name) > 1)
    if children.in_order and names != [name for name in known if name in names]:
        yield f"{element.tag} has {names}, and the order is {known}"
    for name, child in zip(names, element, strict=True):
        kind = children.named.get(name)
        if kind is None:
            yield f"{element.tag} may hold no {name}"
        elif isinstance(kind, Children):
            yield from faults(child, kind, namespace)
        elif list(child) or not re.fullmatch(kind, child.text or ""):
            yield f"{name} is {child.text!r}"
