"""The fault table: what goes wrong in a camera, what the person is told, and that the picture can be had afterwards.

Every row runs the real driver in its process against a simulated body. No row may take longer than its deadline, end
the program, or lose a picture that the camera has.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.contract.subjects import SimulatedBody
from tethercap.camera.base import CameraEvent, CameraLost, CaptureFinished, FileAppeared, LiveViewTroubled
from tethercap.camera.child import ChildCamera
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraFullError,
    CameraGoneError,
    CameraRefusedError,
    CameraSilentError,
    NotSupportedError,
)
from tethercap.exposure.settings import Setting


@dataclass
class Bench:
    """A camera, and the body behind it where faults are planted."""

    camera: ChildCamera
    body: SimulatedBody
    log_dir: Path

    def until(self, fits: Callable[[CameraEvent], bool], seconds: float) -> list[CameraEvent]:
        """Collect events until one fits, or time is up."""
        happened: list[CameraEvent] = []
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s and not any(map(fits, happened)):
            happened.extend(self.camera.events())
            time.sleep(0.005)
        return happened

    def files(self, seconds: float = 12.0) -> tuple[list[FileAppeared], CaptureFinished | None]:
        """Wait for the end of a shot; return its files and how it ended."""
        happened = self.until(lambda event: isinstance(event, CaptureFinished), seconds)
        finished = [event for event in happened if isinstance(event, CaptureFinished)]
        return [event for event in happened if isinstance(event, FileAppeared)], finished[0] if finished else None

    def heal(self) -> None:
        """Lift the faults, get the camera back, and show that it takes pictures."""
        self.body.ask("clear-faults")
        self.camera.reopen()
        self.camera.ping()
        self.camera.events()
        self.camera.fire()
        files, finished = self.files()
        assert finished is not None
        assert files
        self.pull_all(files)

    def pull_all(self, files: list[FileAppeared]) -> list[bytes]:
        """Pull files and see that they are whole."""
        contents = [b"".join(self.camera.pull(event.file)) for event in files]
        assert [len(content) for content in contents] == [event.file.size_bytes for event in files]
        return contents


@pytest.fixture(scope="module")
def benches(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], Bench]]:
    """Make a bench for each kind of body, and keep it for the whole table."""
    made: dict[str, Bench] = {}

    def bench_for(kind: str) -> Bench:
        if kind not in made:
            body, folder = SimulatedBody("--body", kind), tmp_path_factory.mktemp("log")
            made[kind] = Bench(ChildCamera(body.port, log_dir=folder), body, folder)
        return made[kind]

    yield bench_for
    for bench in made.values():
        bench.camera.close()
        bench.body.close()


@pytest.fixture
def bench(benches: Callable[[str], Bench], request: pytest.FixtureRequest) -> Bench:
    """Return a bench in good order, whatever the row before did to it."""
    ready = benches(getattr(request, "param", "0a"))
    ready.body.ask("clear-faults")
    ready.camera.reopen()
    with contextlib.suppress(CameraError):
        ready.camera.stop_live_view()
    ready.camera.settings()
    ready.camera.events()
    return ready


@dataclass(frozen=True)
class Row:
    """A fault that shows in one call."""

    fault: str
    call: str
    error: type[CameraError] | tuple[type[CameraError], ...]
    says: str
    deadline_s: float


NO_ANSWER = (CameraGoneError, CameraSilentError)
"""Whether a body that keeps silent counts as silent or as gone depends on which of the driver's waits it meets."""

ROWS = [
    Row("refuse:op=0x9207,code=0x2002", "fire", CameraRefusedError, "refused", 2),
    Row("store-full", "fire", CameraFullError, "card is full", 2),
    Row("silence:op=0x9207,times=1", "fire", NO_ANSWER, "link|did not answer", 6),
    Row("drop-command:op=0x9207,times=1", "fire", NO_ANSWER, "link|did not answer", 6),
    Row("delay:op=0x9207,seconds=4,times=1", "fire", NO_ANSWER, "link|did not answer", 8),
    Row("no-live-view:bits=0x20000", "start_live_view", CameraRefusedError, "too hot", 5),
    Row("no-live-view:bits=0x100", "start_live_view", CameraRefusedError, "battery is empty", 5),
    Row("no-live-view:bits=0x4000", "start_live_view", CameraRefusedError, "card is missing or locked", 5),
    Row("no-live-view:bits=0x80000000", "start_live_view", CameraRefusedError, "mode dial", 5),
    Row("battery:percent=2", "start_live_view", CameraRefusedError, "battery is empty", 5),
    Row("live-view-corrupt", "start_live_view", CameraBusyError, "live picture that is none", 5),
    Row("live-view-empty", "start_live_view", CameraBusyError, "live picture that is none", 5),
    Row("silence:op=0x9203,times=1", "start_live_view", NO_ANSWER, "link|did not answer", 6),
    Row("drop-command:op=0x1005,times=1", "ping", NO_ANSWER, "link|did not answer", 6),
    Row("silence:op=0x1005,times=1", "ping", NO_ANSWER, "link|did not answer", 6),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.fault}-{row.call}")
def test_a_call_tells_what_went_wrong_in_time_and_the_camera_comes_back(bench: Bench, row: Row) -> None:
    bench.body.fault(row.fault)
    started_s = time.monotonic()
    with pytest.raises(row.error, match=row.says) as caught:
        getattr(bench.camera, row.call)()
    assert time.monotonic() - started_s < row.deadline_s
    assert caught.value.todo, "an error without advice"
    bench.heal()


def test_the_card_runs_full_during_the_shot(bench: Bench) -> None:
    bench.body.fault("store-full:when=during,times=1")
    bench.camera.fire()
    files, finished = bench.files()
    assert files == []
    assert finished is not None
    assert "card ran full" in finished.note
    bench.heal()


def test_a_picture_that_was_never_announced_is_found_on_the_card(bench: Bench) -> None:
    bench.body.fault("object-added-missing:times=1")
    bench.camera.fire()
    files, finished = bench.files()
    assert finished is not None
    assert finished.note == ""
    assert len(files) == 1
    bench.pull_all(files)
    bench.heal()


def test_a_picture_announced_late_is_waited_for(bench: Bench) -> None:
    bench.body.fault("object-added-late:seconds=2,times=1")
    bench.camera.fire()
    files, finished = bench.files()
    assert len(files) == 1
    assert finished is not None
    bench.pull_all(files)


def test_the_link_drops_right_after_the_release_and_the_picture_is_still_found(bench: Bench) -> None:
    bench.body.fault("object-added-late:seconds=1.5,times=1")
    bench.camera.fire()
    bench.body.ask("hang-up")
    lost = bench.until(lambda event: isinstance(event, CameraLost), 8)
    assert any(isinstance(event, CameraLost) for event in lost)
    bench.body.ask("clear-faults")
    until_s = time.monotonic() + 10
    files: list[FileAppeared] = []
    while not files and time.monotonic() < until_s:
        bench.camera.reopen()
        files = [
            event for event in bench.until(lambda e: isinstance(e, FileAppeared), 2) if isinstance(event, FileAppeared)
        ]
    assert len(files) == 1
    bench.pull_all(files)


def test_two_files_of_one_shot_are_both_told_and_pulled(bench: Bench) -> None:
    bench.body.fault("two-files:times=1")
    bench.camera.fire()
    bench.until(lambda event: isinstance(event, CaptureFinished), 10)
    # The second one is told even when the shot counted as over.
    bench.camera.events()
    bench.camera.fire()
    files, _ = bench.files()
    assert len(files) >= 1
    bench.pull_all(files)


def test_one_file_announced_twice_is_told_once(bench: Bench) -> None:
    bench.body.fault("object-added-twice:times=1")
    bench.camera.fire()
    files, _ = bench.files()
    files += [event for event in bench.until(lambda _: False, 0.5) if isinstance(event, FileAppeared)]
    assert len(files) == 1
    bench.pull_all(files)


def test_a_truncated_piece_is_asked_for_again(bench: Bench) -> None:
    bench.camera.fire()
    files, _ = bench.files()
    good = bench.pull_all(files)
    bench.body.fault("truncate:op=0x101B,bytes=1000,times=2")
    assert bench.pull_all(files) == good


def test_a_piece_that_never_comes_right_is_an_error_and_the_picture_stays(bench: Bench) -> None:
    bench.camera.fire()
    files, _ = bench.files()
    bench.body.fault("truncate:op=0x101B,bytes=1000")
    with pytest.raises(CameraError) as caught:
        b"".join(bench.camera.pull(files[0].file))
    assert "still on the camera" in caught.value.safe
    bench.body.ask("clear-faults")
    bench.camera.reopen()
    bench.pull_all(files)


@pytest.mark.parametrize("fault", ["drop-command:op=0x101B,times=1", "silence:op=0x101B,times=1"])
def test_a_link_that_breaks_in_the_middle_of_a_file(bench: Bench, fault: str) -> None:
    bench.camera.fire()
    files, _ = bench.files()
    bench.body.fault(fault)
    started_s = time.monotonic()
    with pytest.raises(NO_ANSWER):
        b"".join(bench.camera.pull(files[0].file))
    assert time.monotonic() - started_s < 8
    bench.camera.reopen()
    assert not any(isinstance(event, CameraLost) for event in bench.camera.events()), "a loss that is over"
    bench.pull_all(files)


def test_a_size_stated_too_large_shows_as_a_short_file(bench: Bench) -> None:
    bench.body.fault("wrong-size:by=1000,times=1")
    bench.camera.fire()
    files, _ = bench.files()
    content = b"".join(bench.camera.pull(files[0].file))
    assert len(content) == files[0].file.size_bytes - 1000


def test_a_value_outside_the_list_neither_kills_nor_lies(bench: Bench) -> None:
    bench.body.fault("outside-list:prop=0x5007,value=190")
    state = bench.camera.settings()[Setting.APERTURE]
    assert state.value.text not in [choice.text for choice in state.choices]
    change = bench.camera.change(Setting.APERTURE, 8)
    assert not change.taken
    assert change.asked.number == 8


def test_live_view_that_fails_later_is_spoken_of_and_comes_back(bench: Bench) -> None:
    bench.camera.start_live_view()
    assert bench.camera.latest_live(timeout_s=3) is not None
    bench.body.fault("live-view-corrupt")
    told = bench.until(lambda event: isinstance(event, LiveViewTroubled), 8)
    assert any(isinstance(event, LiveViewTroubled) for event in told)
    bench.body.ask("clear-faults")
    last = bench.camera.latest_live()
    assert last is not None
    assert bench.camera.latest_live(last.sequence, timeout_s=3) is not None


def test_the_event_link_alone_drops(bench: Bench) -> None:
    bench.camera.start_live_view()
    bench.body.fault("drop-event:op=0x9203,times=1")
    lost = bench.until(lambda event: isinstance(event, CameraLost), 10)
    assert any(isinstance(event, CameraLost) for event in lost)
    bench.heal()


@pytest.mark.parametrize("bench", ["standard"], indirect=True)
def test_a_busy_body_s_gap_is_learned_and_kept(bench: Bench) -> None:
    bench.camera.fire()
    bench.body.fault("refuse:op=0x100E,code=0x2019,times=1")
    bench.camera.fire()
    bench.files()
    assert bench.camera.abilities.shortest_gap_s > 0
    assert '"Copy Body S"' in (bench.log_dir / "learned-cameras.json").read_text()


@pytest.mark.parametrize("bench", ["storage"], indirect=True)
def test_a_body_in_the_wrong_usb_mode_says_what_to_turn(bench: Bench) -> None:
    assert not bench.camera.abilities.trigger
    assert not bench.camera.abilities.live_view
    with pytest.raises(NotSupportedError, match="USB menu"):
        bench.camera.fire()


def test_a_body_without_a_card_says_so(bench: Bench) -> None:
    bench.body.fault("no-card")
    with pytest.raises(CameraRefusedError, match="no card"):
        bench.camera.fire()
    bench.heal()


@pytest.mark.parametrize("bench", ["standard"], indirect=True)
def test_a_body_that_stays_busy_says_so(bench: Bench) -> None:
    bench.body.fault("refuse:op=0x100E,code=0x2019")
    started_s = time.monotonic()
    with pytest.raises(CameraBusyError):
        bench.camera.fire()
    assert time.monotonic() - started_s < 3


def test_a_body_that_sleeps_when_left_alone_is_kept_awake(bench: Bench) -> None:
    bench.body.fault("sleep:idle_s=1.0")
    happened = bench.until(lambda event: isinstance(event, CameraLost), 2.5)
    assert not any(isinstance(event, CameraLost) for event in happened)
    bench.camera.ping()
