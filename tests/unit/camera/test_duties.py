"""The duties of the camera process, against a driver whose every answer is written down here."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Any

import pytest

from tethercap.camera.base import CameraEvent, CameraFile, CaptureFinished, FileAppeared
from tethercap.camera.duties import (
    AFTER_SHOT_S,
    CARD_RAN_FULL,
    COMPLETE_WITHOUT_FILE_S,
    DEAF_AFTER,
    LIVE_PERIOD_S,
    QUIET_S,
    SLOWEST_LIVE_PERIOD_S,
    WITHOUT_FILE_S,
    EventDuty,
    LiveDuty,
    ShotUnderWay,
)
from tethercap.camera.gphoto import DriverEvent, DriverEventKind
from tethercap.camera.live_board import BOARD_BYTES, PIECE_BYTES, PIECE_SLOTS, LiveBoard
from tethercap.camera.pull_duty import RETRIES, PullDuty
from tethercap.errors import CameraBusyError, CameraError, CameraGoneError, CameraRefusedError, NotSupportedError

JPEG = b"\xff\xd8 a picture \xff\xd9"
NOTHING = DriverEvent(DriverEventKind.NOTHING)
COMPLETE = DriverEvent(DriverEventKind.COMPLETE)


def added(name: str, folder: str = "/store/DCIM") -> DriverEvent:
    return DriverEvent(DriverEventKind.FILE_ADDED, folder, name)


@dataclass
class ScriptedDriver:
    """Gives the answers of a script, in order; an error in it is raised."""

    previews: deque[bytes | CameraError] = field(default_factory=deque)
    happenings: deque[DriverEvent | CameraError] = field(default_factory=deque)
    content: bytes = b""
    pieces_work: bool = True
    errors: deque[CameraError] = field(default_factory=deque)
    preview_takes_s: float = 0.0
    now: float = 100.0
    whole_reads: int = 0

    def now_s(self) -> float:
        return self.now

    def preview(self, copy: Any) -> None:
        self.now += self.preview_takes_s
        answer = self.previews.popleft() if self.previews else JPEG
        if isinstance(answer, CameraError):
            raise answer
        copy(memoryview(answer))

    def next_event(self) -> DriverEvent:
        answer = self.happenings.popleft() if self.happenings else NOTHING
        if isinstance(answer, CameraError):
            raise answer
        return answer

    def describe_file(self, folder: str, name: str) -> CameraFile:
        return CameraFile(folder, name, 1000)

    def read_piece(self, file: CameraFile, offset: int, into: memoryview) -> int:
        if not self.pieces_work:
            raise NotSupportedError("no pieces")
        if self.errors:
            raise self.errors.popleft()
        piece = self.content[offset : offset + len(into)]
        into[: len(piece)] = piece
        return len(piece)

    def read_whole(self, file: CameraFile, deadline_s: float) -> bytes:
        self.whole_reads += 1
        return self.content


@pytest.fixture
def driver() -> Any:
    return ScriptedDriver()


@pytest.fixture
def board() -> LiveBoard:
    made = LiveBoard(bytearray(BOARD_BYTES))
    made.clear()
    return made


# Live view


def test_live_pictures_are_numbered_and_rung_for(driver: Any, board: LiveBoard) -> None:
    rings: list[int] = []
    live = LiveDuty(board, lambda: rings.append(1), first_sequence=40)
    live.begin(driver.now)
    assert live.turn(driver, driver.now_s)
    assert live.turn(driver, driver.now_s)
    newest = board.newest()
    assert newest is not None
    assert newest.sequence == 41
    assert len(rings) == 2
    assert live.next_at_s == pytest.approx(driver.now + LIVE_PERIOD_S)


@pytest.mark.parametrize("bad", [b"", b"\xff\xd8 cut", b"no picture \xff\xd9"], ids=["empty", "cut", "not a jpeg"])
def test_a_picture_that_is_none_is_never_put_up(driver: Any, board: LiveBoard, bad: bytes) -> None:
    driver.previews.append(bad)
    live = LiveDuty(board, lambda: None)
    live.begin(driver.now)
    assert not live.turn(driver, driver.now_s)
    assert board.newest() is None


def test_a_busy_camera_is_borne_with_and_asked_ever_more_rarely(driver: Any, board: LiveBoard) -> None:
    live = LiveDuty(board, lambda: None)
    live.begin(driver.now)
    pauses = []
    with pytest.raises(CameraBusyError):
        for _ in range(100):
            driver.previews.append(CameraBusyError("busy"))
            live.turn(driver, driver.now_s)
            pauses.append(live.next_at_s - driver.now)
            driver.now = live.next_at_s
    assert pauses == sorted(pauses)
    assert sum(pauses) >= AFTER_SHOT_S - 0.6
    assert max(pauses) <= 0.5


def test_errors_after_a_release_mean_nothing_but_a_lost_link_does(driver: Any, board: LiveBoard) -> None:
    live = LiveDuty(board, lambda: None)
    live.begin(driver.now)
    live.excused_until_s = driver.now + 1
    driver.previews.extend([CameraRefusedError("restarting"), CameraGoneError("pulled")])
    assert not live.turn(driver, driver.now_s)
    with pytest.raises(CameraGoneError):
        live.turn(driver, driver.now_s)


@pytest.mark.parametrize(
    ("takes_s", "period_s"), [(0.001, LIVE_PERIOD_S), (0.003, 0.06), (0.02, SLOWEST_LIVE_PERIOD_S)]
)
def test_a_pull_is_spared_as_far_as_the_film_allows(
    driver: Any, board: LiveBoard, takes_s: float, period_s: float
) -> None:
    live = LiveDuty(board, lambda: None)
    live.begin(driver.now)
    live.sparing, driver.preview_takes_s = True, takes_s
    started_s = driver.now
    live.turn(driver, driver.now_s)
    assert live.next_at_s - started_s == pytest.approx(period_s)


# Events


def listen(driver: ScriptedDriver, shot: ShotUnderWay | None = None) -> tuple[EventDuty, list[CameraEvent]]:
    told: list[CameraEvent] = []
    duty = EventDuty(told.append, lambda file: file)
    if shot is not None:
        duty.expect(shot)
    return duty, told


def run(duty: EventDuty, driver: Any, seconds: float) -> None:
    until_s = driver.now + seconds
    while driver.now <= until_s:
        duty.turn(driver, driver.now_s, live=True)
        driver.now += 0.01


def test_a_shot_is_over_with_its_last_expected_file(driver: Any) -> None:
    duty, told = listen(driver, ShotUnderWay(driver.now, 0.01, 2))
    driver.happenings.extend([added("A.NEF"), NOTHING])
    duty.turn(driver, driver.now_s, live=True)
    assert [type(event) for event in told] == [FileAppeared]
    driver.happenings.append(added("A.JPG"))
    duty.turn(driver, driver.now_s, live=True)
    assert [type(event) for event in told] == [FileAppeared, FileAppeared, CaptureFinished]


def test_a_shot_is_over_when_its_body_says_so(driver: Any) -> None:
    duty, told = listen(driver, ShotUnderWay(driver.now, 0.01, 2))
    driver.happenings.extend([added("A.NEF"), COMPLETE])
    duty.turn(driver, driver.now_s, live=True)
    assert isinstance(told[-1], CaptureFinished)
    assert told[-1].files == 1


def test_a_shot_is_over_after_a_while_of_quiet(driver: Any) -> None:
    duty, told = listen(driver, ShotUnderWay(driver.now, 0.01, 2))
    driver.happenings.append(added("A.NEF"))
    run(duty, driver, QUIET_S - 0.05)
    assert len(told) == 1
    run(duty, driver, 0.2)
    assert isinstance(told[-1], CaptureFinished)


@pytest.mark.parametrize(
    ("happening", "seconds"),
    [(COMPLETE, COMPLETE_WITHOUT_FILE_S), (NOTHING, WITHOUT_FILE_S + 2 * 4.0)],
    ids=["complete", "silent"],
)
def test_a_shot_without_a_file_is_given_up_in_time(driver: Any, happening: DriverEvent, seconds: float) -> None:
    duty, told = listen(driver, ShotUnderWay(driver.now, 4.0, 1))
    driver.happenings.append(happening)
    given_up = []
    for span_s in (seconds - 0.2, 0.5):
        run(duty, driver, span_s)
        given_up.append(duty.in_vain)
    assert given_up == [False, True]
    assert told == []


def test_after_a_shot_in_vain_the_next_is_waited_for_longer(driver: Any) -> None:
    duty, told = listen(driver, ShotUnderWay(driver.now, 0.0, 1))
    given_up = []
    for _ in range(2):
        run(duty, driver, WITHOUT_FILE_S + 0.2)
        given_up.append(duty.in_vain)
        duty.forget_shot()
        duty.expect(ShotUnderWay(driver.now, 0.0, 1))
    assert given_up == [True, False]
    driver.happenings.append(added("A.NEF"))
    run(duty, driver, QUIET_S + 0.2)
    assert isinstance(told[-1], CaptureFinished)


def test_a_card_that_runs_full_ends_the_shot_at_once(driver: Any) -> None:
    duty, told = listen(driver, ShotUnderWay(driver.now, 4.0, 1))
    driver.happenings.append(DriverEvent(DriverEventKind.OTHER, text="PTP Event 400a, Param1 00010001"))
    duty.turn(driver, driver.now_s, live=True)
    assert told == [CaptureFinished(driver.now, 0, CARD_RAN_FULL)]


def test_files_nobody_fired_for_are_told_too_and_the_same_one_once(driver: Any) -> None:
    duty, told = listen(driver)
    driver.happenings.extend([added("A.NEF"), added("A.NEF"), added("B.NEF")])
    duty.turn(driver, driver.now_s, live=False)
    assert [event.file.name for event in told if isinstance(event, FileAppeared)] == ["A.NEF", "B.NEF"]


def test_refused_events_are_borne_with_for_a_while(driver: Any) -> None:
    duty, _ = listen(driver)
    driver.happenings.extend([CameraRefusedError("no")] * (DEAF_AFTER - 1))
    for _ in range(DEAF_AFTER - 1):
        duty.turn(driver, driver.now_s, live=False)
    duty.turn(driver, driver.now_s, live=False)
    driver.happenings.extend([CameraRefusedError("no")] * DEAF_AFTER)
    with pytest.raises(CameraGoneError):
        for _ in range(DEAF_AFTER):
            duty.turn(driver, driver.now_s, live=False)


# Pulling


def pull_all(pull: PullDuty, driver: Any, board: LiveBoard, *, allowed: bool = True) -> bytes:
    content = b""
    while True:
        piece = pull.turn(driver, board, driver.now_s, pieces_allowed=allowed)
        if piece is None:
            driver.now = pull.next_at_s
            continue
        content += bytes(board.piece(piece.slot)[: piece.length])
        pull.credit += 1
        if piece.last:
            return content


@pytest.mark.parametrize("size", [1, PIECE_BYTES, PIECE_BYTES + 1, 5 * PIECE_BYTES])
@pytest.mark.parametrize("stated", ["right", "unknown"])
@pytest.mark.parametrize("pieces_work", [True, False])
def test_every_byte_comes_once(driver: Any, board: LiveBoard, size: int, stated: str, pieces_work: bool) -> None:
    driver.content = bytes(index % 251 for index in range(4096)) * (size // 4096 + 1)
    driver.content, driver.pieces_work = driver.content[:size], pieces_work
    pull = PullDuty(1, CameraFile("/store", "A.NEF", size if stated == "right" else 0))
    assert pull_all(pull, driver, board) == driver.content
    assert pull.came_whole is not pieces_work
    assert driver.whole_reads == (0 if pieces_work else 1)


def test_places_in_shared_memory_are_not_overwritten_before_they_are_read(driver: Any, board: LiveBoard) -> None:
    driver.content = bytes(10 * PIECE_BYTES)
    pull = PullDuty(1, CameraFile("/store", "A.NEF", len(driver.content)))
    slots = [pull.turn(driver, board, driver.now_s, pieces_allowed=True) for _ in range(PIECE_SLOTS)]
    assert sorted(piece.slot for piece in slots if piece is not None) == list(range(PIECE_SLOTS))
    assert pull.credit == 0


def test_a_piece_is_asked_for_again_but_not_for_ever(driver: Any, board: LiveBoard) -> None:
    driver.content = b"x" * 100
    driver.errors.extend([CameraRefusedError("cut short")] * RETRIES)
    pull = PullDuty(1, CameraFile("/store", "A.NEF", 100))
    assert pull_all(pull, driver, board) == driver.content
    driver.errors.extend([CameraRefusedError("cut short")] * (RETRIES + 1))
    with pytest.raises(CameraRefusedError):
        pull_all(PullDuty(2, CameraFile("/store", "A.NEF", 100)), driver, board)


def test_what_lies_in_the_body_s_memory_is_never_asked_for_in_pieces(driver: Any, board: LiveBoard) -> None:
    driver.content = b"x" * 100
    pull = PullDuty(1, CameraFile("/", "capt0000.nef", 100))
    assert pull_all(pull, driver, board) == driver.content
    assert driver.whole_reads == 1
    kept = PullDuty(2, CameraFile("/", "capt0000.nef", 100), b"kept")
    assert pull_all(kept, driver, board) == b"kept"
