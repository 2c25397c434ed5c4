"""Which logs a sheet is wanted of."""

import difflib
from collections.abc import Sequence

from benchwater.plugin.logs import LogKind


class UnknownLogError(ValueError):
    """`--log` names a log that no plugin brings."""


def choose_logs(kinds: Sequence[LogKind], names: Sequence[str]) -> tuple[LogKind, ...]:
    """The logs of these names, all of them when there are none."""
    known = {kind.name: kind for kind in kinds}
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f"did you mean `{near[0]}`?" if near else f"there are: {', '.join(known)}"
            raise UnknownLogError(f"there is no log `{name}`; {hint}")
    return tuple(kind for kind in kinds if not names or kind.name in names)
