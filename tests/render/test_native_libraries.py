"""Where the native libraries are missing, the message has the one command of that system."""

import sys

import pytest

from benchwater.render.pdf import install_hint


@pytest.mark.parametrize(
    ("system", "release", "command"),
    [
        ("linux", {"ID": "debian"}, "  apt-get install libpangoft2-1.0-0 libharfbuzz-subset0"),
        ("linux", {"ID": "mint", "ID_LIKE": "ubuntu debian"}, "  apt-get install libpangoft2-1.0-0"),
        ("linux", {"ID": "rocky", "ID_LIKE": "rhel centos fedora"}, "  dnf install pango"),
        ("linux", {"ID": "arch"}, "  pacman -S pango"),
        ("darwin", None, "  brew install pango"),
        ("win32", None, "in the shell of MSYS2, then run again:\n  pacman -S mingw-w64-x86_64-pango"),
        ("linux", {"ID": "ours"}, "Install Pango 1.44 or later with this system's package manager"),
        ("linux", None, "Install Pango 1.44 or later with this system's package manager"),
    ],
)
def test_one_command_for_this_system(
    monkeypatch: pytest.MonkeyPatch, system: str, release: dict[str, str] | None, command: str
) -> None:
    def told() -> dict[str, str]:
        if release is None:
            raise OSError("no os-release")
        return release

    monkeypatch.setattr(sys, "platform", system)
    monkeypatch.setattr("platform.freedesktop_os_release", told)
    hint = install_hint()
    assert command in hint
    assert hint.count("  ") == (0 if command.startswith("Install") else 1)
