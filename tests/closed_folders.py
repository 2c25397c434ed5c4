"""Folders that may not be read, for tests run by root too, to whom nothing is closed."""

import errno
import os
from pathlib import Path

import pytest


def close_folder(monkeypatch: pytest.MonkeyPatch, *folders: Path) -> None:
    """Have `os.scandir` refuse these folders, as it does after `chmod 000`."""
    closed, scandir = {os.fspath(folder) for folder in folders}, os.scandir

    def refusing(path: str | int) -> object:
        if not isinstance(path, int) and os.fspath(path) in closed:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), os.fspath(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
