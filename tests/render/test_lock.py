import os
import socket
import subprocess
import sys

import pytest

from benchwater.render.lock import LOCK_NAME, BeingWrittenError, only_writer


def test_a_second_run_is_refused_and_told_who_is_writing(tmp_path):
    with (
        only_writer(tmp_path),
        pytest.raises(BeingWrittenError, match=str(os.getpid())),
        only_writer(tmp_path),
    ):
        pass
    assert not (tmp_path / LOCK_NAME).exists()


def test_a_lock_whose_owner_is_gone_is_taken_over(tmp_path):
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    (tmp_path / LOCK_NAME).write_text(f"{gone.pid} {socket.gethostname()}\n")
    with only_writer(tmp_path):
        assert (tmp_path / LOCK_NAME).read_text().startswith(str(os.getpid()))


def test_a_lock_of_another_machine_is_respected_and_its_file_named(tmp_path):
    (tmp_path / LOCK_NAME).write_text("1 elsewhere\n")
    with pytest.raises(BeingWrittenError, match=LOCK_NAME), only_writer(tmp_path):
        pass
    assert (tmp_path / LOCK_NAME).exists()


def test_the_lock_is_released_when_the_run_breaks(tmp_path):
    with pytest.raises(KeyError), only_writer(tmp_path):
        raise KeyError("anything")
    assert not (tmp_path / LOCK_NAME).exists()
