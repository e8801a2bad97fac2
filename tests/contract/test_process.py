"""The camera process itself: it never outlives the program, and the program outlives it."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

from tests.contract.subjects import ROOT, SimulatedBody
from tethercap.camera.base import CameraEvent, CameraLost, CaptureFinished, FileAppeared
from tethercap.camera.child import ChildCamera
from tethercap.camera.discover import find_cameras
from tethercap.errors import (
    CameraError,
    CameraInUseError,
    CameraSilentError,
    DriverDiedError,
    NoCameraError,
)


@pytest.fixture
def body() -> Iterator[SimulatedBody]:
    made = SimulatedBody("--body", "0a")
    yield made
    made.close()


@pytest.fixture
def camera(body: SimulatedBody, tmp_path: Path) -> Iterator[ChildCamera]:
    opened = ChildCamera(body.port, log_dir=tmp_path)
    yield opened
    opened.close()


def gone(pid: int, seconds: float) -> bool:
    """Whether a process ends within a time."""
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        with contextlib.suppress(psutil.NoSuchProcess):
            if psutil.Process(pid).status() != psutil.STATUS_ZOMBIE:
                time.sleep(0.02)
                continue
        return True
    return False


def collect(camera: ChildCamera, wanted: type[CameraEvent], seconds: float = 3.0) -> list[CameraEvent]:
    """Return what happens until an event of a kind came."""
    happened: list[CameraEvent] = []
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s and not any(isinstance(event, wanted) for event in happened):
        happened.extend(camera.events())
        time.sleep(0.005)
    return happened


def test_killed_while_idle_it_is_noticed_and_started_anew(camera: ChildCamera) -> None:
    first = camera.process_id
    os.kill(first, signal.SIGKILL)
    assert gone(first, 3)
    assert any(isinstance(event, CameraLost) for event in collect(camera, CameraLost))
    assert camera.events() == [], "a loss is told once"
    with pytest.raises(DriverDiedError):
        camera.settings()
    assert camera.latest_live(timeout_s=5) is None
    camera.reopen()
    assert camera.process_id != first
    assert camera.settings()


def test_killed_in_live_view_numbers_of_pictures_go_on(camera: ChildCamera) -> None:
    camera.start_live_view()
    before = camera.latest_live(timeout_s=3)
    os.kill(camera.process_id, signal.SIGKILL)
    while not camera.events():
        time.sleep(0.01)
    camera.reopen()
    camera.start_live_view()
    assert before is not None
    after = camera.latest_live(before.sequence, timeout_s=3)
    assert after is not None
    assert after.sequence > before.sequence


def test_killed_in_the_middle_of_a_file_the_file_can_be_pulled_again(camera: ChildCamera) -> None:
    camera.fire()
    file = None
    while file is None:
        file = next((event.file for event in camera.events() if isinstance(event, FileAppeared)), None)
        time.sleep(0.005)
    pieces = camera.pull(file)
    os.kill(camera.process_id, signal.SIGKILL)
    assert gone(camera.process_id, 3)
    with pytest.raises(CameraError):
        list(pieces)
    camera.reopen()
    assert len(b"".join(camera.pull(file))) == file.size_bytes


def test_killed_right_after_a_release_the_picture_is_found(camera: ChildCamera, body: SimulatedBody) -> None:
    body.fault("object-added-late:seconds=0.5,times=1")
    camera.fire()
    os.kill(camera.process_id, signal.SIGKILL)
    assert gone(camera.process_id, 3)
    collect(camera, CameraLost)
    camera.reopen()
    files = [event for event in collect(camera, CaptureFinished, 20) if isinstance(event, FileAppeared)]
    assert len(files) == 1


def test_a_body_that_takes_its_time_for_live_pictures_is_heard_and_read_all_the_same(tmp_path: Path) -> None:
    slow = SimulatedBody("--body", "0a", fast=False)
    camera = ChildCamera(slow.port, log_dir=tmp_path)
    camera.settings()
    camera.start_live_view()
    slow.fault("delay:op=0x9203,seconds=0.08")
    camera.fire()
    files = [event for event in collect(camera, CaptureFinished, 20) if isinstance(event, FileAppeared)]
    assert len(b"".join(camera.pull(files[0].file))) == files[0].file.size_bytes
    camera.close()
    slow.close()


def test_stopped_it_is_ended_at_the_deadline(camera: ChildCamera, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tethercap.camera.driver_handle.DEADLINES_S", dict.fromkeys(_verbs(), 1.0))
    os.kill(camera.process_id, signal.SIGSTOP)
    started_s = time.monotonic()
    with pytest.raises(CameraSilentError):
        camera.ping()
    assert time.monotonic() - started_s < 4
    monkeypatch.undo()
    camera.reopen()
    camera.ping()


def _verbs() -> list[str]:
    from tethercap.camera.protocol import Verb

    return list(Verb)


def test_a_call_that_does_not_return_ends_the_process_by_itself(tmp_path: Path) -> None:
    script = """
        import ctypes, sys
        from tethercap.camera.live_board import LiveBoard, make_shared
        from tethercap.camera.watchdog import Watchdog
        import multiprocessing
        board = LiveBoard(make_shared(multiprocessing.get_context("spawn")))
        Watchdog(board, sys.stderr).start("hang", 0.5)
        ctypes.PyDLL(None).sleep(30)  # holds the interpreter's lock
    """
    started_s = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode != 0
    assert "Timeout" in done.stderr
    assert time.monotonic() - started_s < 10


PROGRAM = """
    import sys, time
    from tethercap.camera.child import ChildCamera
    if __name__ == "__main__":
        camera = ChildCamera(sys.argv[1])
        camera.start_live_view()
        print(camera.process_id, flush=True)
        time.sleep(60)
"""


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT], ids=lambda number: number.name)
def test_the_program_is_killed_and_the_process_ends_by_itself(
    body: SimulatedBody, tmp_path: Path, number: signal.Signals
) -> None:
    program = tmp_path / "program.py"
    program.write_text(textwrap.dedent(PROGRAM))
    running = subprocess.Popen(
        [sys.executable, str(program), body.port],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        text=True,
    )
    assert running.stdout is not None
    process_id = int(running.stdout.readline())
    helpers = psutil.Process(running.pid).children(recursive=True)
    running.send_signal(number)
    running.communicate(timeout=10)
    assert gone(process_id, 5), "the camera process outlived its program"
    assert all(gone(helper.pid, 5) for helper in helpers)
    # The session was closed properly: another one opens and finds live view ready to start.
    camera = ChildCamera(body.port)
    camera.start_live_view()
    assert camera.latest_live(timeout_s=3) is not None
    camera.close()


def test_closing_leaves_no_process_and_no_open_file(body: SimulatedBody, tmp_path: Path) -> None:
    ChildCamera(body.port, log_dir=tmp_path).close()
    own = psutil.Process()
    files_before = own.num_fds()
    for _ in range(3):
        camera = ChildCamera(body.port, log_dir=tmp_path)
        process_id = camera.process_id
        camera.close()
        camera.close()
        assert gone(process_id, 1)
    assert own.num_fds() <= files_before


def test_after_closing_every_call_says_so(body: SimulatedBody, tmp_path: Path) -> None:
    camera = ChildCamera(body.port, log_dir=tmp_path)
    camera.close()
    for call in (camera.settings, camera.fire, camera.ping, camera.reopen, camera.start_live_view):
        with pytest.raises(CameraError):
            call()
    assert camera.events() == []
    assert camera.latest_live(timeout_s=0.1) is None


def test_a_link_lost_again_and_again_costs_no_lock_and_no_file(camera: ChildCamera, body: SimulatedBody) -> None:
    folder = Path(f"/proc/{camera.process_id}/fd")
    if not folder.is_dir():
        pytest.skip("this system does not show the open files of a process")
    counts = []
    for _ in range(3):
        body.ask("hang-up")
        assert collect(camera, CameraLost, 10)
        camera.reopen()
        counts.append(len(list(folder.iterdir())))
        assert any(link.readlink().suffix == ".lock" for link in folder.iterdir())
        with pytest.raises(CameraInUseError):
            ChildCamera(body.port)
    assert len(set(counts)) == 1, counts


def test_a_second_program_is_told_who_has_the_camera(camera: ChildCamera, body: SimulatedBody) -> None:
    with pytest.raises(CameraInUseError, match=f"process {os.getpid()}") as caught:
        ChildCamera(body.port)
    assert "Nothing was sent" in caught.value.safe
    camera.ping()


def test_a_body_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(CameraError):
        ChildCamera("ptpip:127.0.0.1:9:9", log_dir=tmp_path)
    with pytest.raises(NoCameraError, match="There is no camera port"):
        ChildCamera("nonsense", log_dir=tmp_path)


def test_another_body_at_the_same_port_is_not_taken_for_it(body: SimulatedBody, tmp_path: Path) -> None:
    with pytest.raises(NoCameraError, match="SIM0001"):
        ChildCamera(body.port, "OTHER9", log_dir=tmp_path)


def test_looking_for_cameras_ends_too(tmp_path: Path) -> None:
    assert isinstance(find_cameras(log_dir=tmp_path), list)


def test_the_driver_s_noise_goes_to_the_log_and_the_user_s_settings_stay_untouched(
    body: SimulatedBody, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home"
    (home / ".gphoto").mkdir(parents=True)
    settings = home / ".gphoto" / "settings"
    settings.write_text("ptp2=capturetarget=sdram\n")
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("LANGUAGE", "de")
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")
    camera = ChildCamera(body.port, log_dir=tmp_path)
    camera.fire()
    while not any(isinstance(event, CaptureFinished) for event in camera.events()):
        time.sleep(0.01)
    camera.close()
    assert settings.read_text() == "ptp2=capturetarget=sdram\n"
    assert (tmp_path / "camera.log").read_text()
    assert capfd.readouterr().err == ""


def test_the_program_itself_never_loads_the_driver() -> None:
    script = (
        "import sys, tethercap.camera.discover, tethercap.camera.fake, tethercap.session.runner; "
        "print([name for name in sys.modules if name.split('.')[0] in ('gphoto2', 'textual')])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"
