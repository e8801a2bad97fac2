"""The camera as a process: one line on stdout, a clean end however it comes."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import psutil
import pytest

from mock_camera.packets import InitCommandAck, InitCommandRequest

TINY_RIG = Path(__file__).parent / "tiny_rig.py"


def test_the_one_line_says_where_it_listens(start_camera: Any) -> None:
    camera = start_camera("--body", "standard")
    assert set(camera.ready) == {"ptpip_port", "control_port", "pid", "body"}
    assert camera.ready["pid"] == camera.process.pid
    assert camera.ready["body"] == "standard"


@pytest.mark.parametrize("how", ["stdin", "SIGTERM", "SIGINT", "quit"])
def test_it_ends_cleanly_with_a_session_open_and_a_shot_in_the_air(start_camera: Any, connect: Any, how: str) -> None:
    camera = start_camera("--body", "standard")
    wire = connect(camera).open()
    assert camera.control("press")["ok"]
    if how == "quit":
        assert camera.control("quit")["ok"]
    elif how != "stdin":
        camera.process.send_signal(getattr(signal, how))
    if how != "stdin":
        assert camera.process.wait(timeout=10) == 0
    del wire


@pytest.mark.parametrize(
    "args",
    [
        ("--body", "none"),
        ("--fault", "explode"),
        ("--fault", "refuse:op"),
        ("--fault", "refuse:wish=1"),
        ("--first-number", "0"),
        ("--film-format", "135-5x5"),
    ],
)
def test_a_wrong_command_line_is_refused_in_words(args: tuple[str, ...]) -> None:
    command = [sys.executable, "-m", "mock_camera", *args]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "mock_camera: error:" in done.stderr


def test_nonsense_on_the_control_channel_is_answered(start_camera: Any) -> None:
    lines = [b"nonsense", b"[]", b"{}", b'{"cmd": 5}', b'{"cmd": "fault", "name": "x"}', b"\xff", b'{"cmd": "wish"}']
    camera = start_camera("--body", "standard")
    with socket.create_connection(("127.0.0.1", camera.ready["control_port"]), timeout=10) as sock:
        sock.sendall(b"\n".join(lines) + b"\n")
        with sock.makefile("rb") as answers:
            replies = [json.loads(answers.readline()) for _ in lines]
    assert [reply["ok"] for reply in replies] == [False] * len(lines)
    assert all(reply["error"] for reply in replies)


def test_dials_take_the_nearest_value(start_camera: Any) -> None:
    camera = start_camera("--body", "standard")
    assert camera.control("dial", setting="iso", value=210)["value"] == 200
    assert camera.control("settings")["settings"]["iso"] == 200
    assert camera.control("dial", setting="wind", value=1)["ok"] is False


def test_it_ends_with_its_parent(tmp_path: Path) -> None:
    """A program that starts the camera and is killed leaves no camera behind."""
    out = tmp_path / "out"
    starter = f"""
import subprocess, sys
subprocess.Popen([sys.executable, {str(TINY_RIG)!r}, "--parent-pid-watch"], stdout=open({str(out)!r}, "w"))
sys.stdin.read()
"""
    parent = subprocess.Popen([sys.executable, "-c", starter], stdin=subprocess.PIPE)
    try:
        for _ in range(200):
            if out.exists() and (text := out.read_text()):
                break
            time.sleep(0.05)
        pid = json.loads(text)["pid"]
    finally:
        parent.kill()
        parent.communicate()
    for _ in range(200):
        if not psutil.pid_exists(pid) or psutil.Process(pid).status() == psutil.STATUS_ZOMBIE:
            return
        time.sleep(0.05)
    pytest.fail("the camera outlived its parent")


def test_many_sessions_leave_nothing_behind(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "standard")
    process = psutil.Process(camera.process.pid)

    def settled() -> tuple[int, int]:
        """Return (open files, threads) once they stop falling."""
        counts = process.num_fds(), process.num_threads()
        for _ in range(100):
            time.sleep(0.05)
            fresh = process.num_fds(), process.num_threads()
            if fresh == counts:
                break
            counts = fresh
        return counts

    connect(camera).open().close()
    before = settled()
    for _ in range(60):
        for _ in range(200):
            wire = connect(camera)
            wire.send(InitCommandRequest(bytes(16), "again"))
            if isinstance(wire.receive(), InitCommandAck):
                break
            time.sleep(0.01)
        wire.close()
    assert settled() == before


def test_a_port_that_is_taken_is_told_in_words() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        command = [sys.executable, str(TINY_RIG), "--port", str(taken.getsockname()[1])]
        done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert (done.returncode, done.stdout) == (1, "")
    assert "mock_camera: cannot listen on 127.0.0.1" in done.stderr
    assert "Traceback" not in done.stderr
