"""The native libraries printing needs, and the one command that installs them on this system."""

import platform
import sys
from collections.abc import Mapping

_BY_FAMILY: Mapping[str, str] = {
    "debian": "apt-get install libpangoft2-1.0-0 libharfbuzz-subset0",
    "fedora": "dnf install pango",
    "rhel": "dnf install pango",
    "arch": "pacman -S pango",
    "alpine": "apk add pango",
    "darwin": "brew install pango",
    "win32": "pacman -S mingw-w64-x86_64-pango",
}
_ANY = "Install Pango 1.44 or later with this system's package manager, then run again."


def install_hint() -> str:
    """What to type on this system, or what to look for where that is not known. Only Debian's was tried."""
    command = next((_BY_FAMILY[name] for name in _families() if name in _BY_FAMILY), None)
    if command is None:
        return f"Printing needs Pango's native libraries. {_ANY}"
    where = " in the shell of MSYS2" if sys.platform == "win32" else ""
    return f"Printing needs Pango's native libraries. Install them{where}, then run again:\n  {command}"


def _families() -> list[str]:
    """The names this system goes by, its own first: `ubuntu`, `debian`."""
    if sys.platform != "linux":
        return [sys.platform]
    try:
        told = platform.freedesktop_os_release()
    except OSError:
        return []
    return [told.get("ID", ""), *told.get("ID_LIKE", "").split()]
