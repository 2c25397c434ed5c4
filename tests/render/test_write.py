import errno
import os
import random
import signal
import subprocess
import sys
import time

import pytest

from benchwater.render.write import write_whole

OLD, NEW = b"old " * 1000, b"new " * 2000


@pytest.mark.parametrize("call", ["mkstemp", "write", "flush", "fsync", "chmod", "replace"])
@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EACCES, errno.EIO])
def test_a_write_that_fails_at_any_step_leaves_the_old_file_and_nothing_else(
    tmp_path, monkeypatch, call, error
):
    path = tmp_path / "season-report.json"
    path.write_bytes(OLD)

    def fail(*arguments, **more):
        raise OSError(error, os.strerror(error))

    if call == "mkstemp":
        monkeypatch.setattr("benchwater.render.write.tempfile.mkstemp", fail)
    elif call in {"write", "flush"}:
        real = os.fdopen

        def opened(handle, mode):
            stream = real(handle, mode, buffering=0)
            return type("Full", (), {
                "__enter__": lambda self: self,
                "__exit__": lambda self, *why: stream.close(),
                "fileno": lambda self: stream.fileno(),
                "write": fail if call == "write" else lambda self, data: stream.write(data),
                "flush": fail,
            })()  # fmt: skip

        monkeypatch.setattr("benchwater.render.write.os.fdopen", opened)
    else:
        monkeypatch.setattr(f"benchwater.render.write.os.{call}", fail)
    with pytest.raises(OSError, match=os.strerror(error)):
        write_whole(path, NEW)
    monkeypatch.undo()
    assert path.read_bytes() == OLD
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs SIGKILL")
def test_a_run_killed_at_any_moment_leaves_one_whole_file(tmp_path):
    path = tmp_path / "season-report.pdf"
    contents = {bytes([letter]) * 3_000_000 for letter in b"ab"}
    path.write_bytes(b"a" * 3_000_000)
    code = (
        "import sys; from pathlib import Path; from benchwater.render.write import write_whole\n"
        "path = Path(sys.argv[1]); print('ready', flush=True)\n"
        "while True:\n"
        "    for letter in b'ab': write_whole(path, bytes([letter]) * 3_000_000)"
    )
    moments = random.Random(20260501)
    for _ in range(25):
        process = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(moments.uniform(0.001, 0.05))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        assert path.read_bytes() in contents


@pytest.mark.skipif(sys.platform != "linux", reason="needs a small tmpfs")
@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount")
def test_a_full_disk_leaves_the_old_file(tmp_path):
    mount = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", tmp_path], capture_output=True)
    if mount.returncode != 0:
        pytest.skip("this machine allows no mounts")
    try:
        path = tmp_path / "season-report.pdf"
        write_whole(path, OLD)
        with pytest.raises(OSError, match="No space left"):
            write_whole(path, b"x" * 200_000)
        assert path.read_bytes() == OLD
        assert [entry.name for entry in tmp_path.iterdir()] == [path.name]
    finally:
        subprocess.run(["umount", tmp_path], check=True)
