"""Which logs a sheet is wanted of."""

from collections.abc import Sequence

from benchwater.plugin.logs import LogKind
from benchwater.text import did_you_mean


class UnknownLogError(ValueError):
    """`--log` names a log that no plugin brings."""


def choose_logs(kinds: Sequence[LogKind], names: Sequence[str]) -> tuple[LogKind, ...]:
    """The logs of these names, all of them when there are none."""
    known = {kind.name: kind for kind in kinds}
    for name in names:
        if name not in known:
            hint = did_you_mean(name, known, f"there are: {', '.join(known)}")
            raise UnknownLogError(f"there is no log `{name}`{hint}")
    return tuple(kind for kind in kinds if not names or kind.name in names)
