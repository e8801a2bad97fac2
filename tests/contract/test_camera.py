"""What every camera owes to the program above it."""

from __future__ import annotations

import time

import cv2
import numpy as np
import pytest

from tests.contract.subjects import Subject
from tethercap.camera.base import CameraFile, CaptureFinished, FileAppeared, SettingMoved
from tethercap.errors import CameraError, NotSupportedError
from tethercap.exposure.settings import Setting, SettingState

SETTABLE = (Setting.ISO, Setting.APERTURE, Setting.SHUTTER)


def another(state: SettingState) -> float:
    """Return a number the camera offers that it does not stand at."""
    numbers = [choice.number for choice in state.choices if choice.number is not None]
    return next(number for number in numbers if number != state.value.number)


def test_says_who_it_is(subject: Subject) -> None:
    identity = subject.camera.identity
    assert identity.model
    assert identity.port


def test_states_are_filed_under_their_own_setting(subject: Subject) -> None:
    states = subject.camera.settings()
    assert states
    assert all(state.setting is setting for setting, state in states.items())


@pytest.mark.parametrize("setting", SETTABLE, ids=str)
def test_a_change_is_read_back(subject: Subject, setting: Setting) -> None:
    state = subject.camera.settings().get(setting)
    if state is None or not state.settable or len(state.choices) < 2:
        pytest.skip(f"{subject.name} does not let {setting} be set")
    wanted = another(state)
    change = subject.camera.change(setting, wanted)
    assert change.taken, change
    assert subject.camera.settings()[setting].value.number == pytest.approx(wanted, rel=0.01)
    back = subject.camera.change(setting, state.value)
    assert back.taken, back


def test_a_wish_it_cannot_meet_is_refused(subject: Subject) -> None:
    with pytest.raises(NotSupportedError):
        subject.camera.change(Setting.CAPTURE_TARGET, "the moon")


def test_live_pictures_come_in_order_and_can_be_decoded(subject: Subject) -> None:
    camera = subject.camera
    camera.start_live_view()
    first = camera.latest_live(timeout_s=3.0)
    if not camera.abilities.live_view:
        assert first is None
        assert camera.abilities.notes
        return
    assert first is not None
    second = camera.latest_live(first.sequence, timeout_s=3.0)
    camera.stop_live_view()
    assert second is not None
    assert second.sequence > first.sequence
    assert second.taken_at_s > first.taken_at_s
    pixels = cv2.imdecode(np.frombuffer(second.jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert pixels is not None


def test_no_live_picture_comes_after_the_end(subject: Subject) -> None:
    camera = subject.camera
    camera.start_live_view()
    camera.stop_live_view()
    last = camera.latest_live()
    assert camera.latest_live(last.sequence if last else -1, timeout_s=0.15) is None


def test_a_shot_leaves_a_file_that_comes_whole(subject: Subject) -> None:
    files = subject.shoot()
    assert len(files) == 1
    content = subject.pull(files[0])
    assert len(content) == files[0].file.size_bytes
    assert content[:2] in (b"II", b"MM", b"\xff\xd8")


def test_a_shot_in_live_view_too_and_live_view_goes_on(subject: Subject) -> None:
    camera = subject.camera
    if not camera.abilities.live_view:
        pytest.skip("no live view")
    camera.start_live_view()
    before = camera.latest_live(timeout_s=3.0)
    files = subject.shoot()
    assert len(files) == 1
    assert before is not None
    after_s = time.monotonic()
    sequence = before.sequence
    until_s = after_s + 5.0
    picture = None
    while time.monotonic() < until_s and (picture is None or picture.taken_at_s < after_s):
        picture = camera.latest_live(sequence, timeout_s=0.5) or picture
        sequence = picture.sequence if picture else sequence
    camera.stop_live_view()
    assert picture is not None
    assert picture.taken_at_s > after_s


def test_firing_tells_when(subject: Subject) -> None:
    before_s = time.monotonic()
    fired = subject.camera.fire()
    assert before_s <= fired.fired_at_s <= fired.accepted_at_s <= time.monotonic()
    subject.wait_for(CaptureFinished)


def test_a_file_can_be_pulled_twice(subject: Subject) -> None:
    files = subject.shoot()
    assert subject.pull(files[0]) == subject.pull(files[0])


def test_two_shots_leave_two_different_pictures(subject: Subject) -> None:
    if subject.name == "virtual":
        pytest.skip("it takes the same picture every time")
    first, second = subject.shoot()[0], subject.shoot()[0]
    assert (first.file.folder, first.file.name) != (second.file.folder, second.file.name)
    assert subject.pull(first) != subject.pull(second)


def test_a_pull_left_half_way_leaves_nothing_behind(subject: Subject) -> None:
    files = subject.shoot()
    pieces = subject.camera.pull(files[0].file)
    next(pieces)
    close = getattr(pieces, "close")  # noqa: B009  # an Iterator by contract, a generator in fact
    close()
    assert len(subject.pull(files[0])) == files[0].file.size_bytes


def test_a_file_that_is_not_there_is_an_error(subject: Subject) -> None:
    with pytest.raises(CameraError):
        list(subject.camera.pull(CameraFile("/nowhere", "NOTHING.DNG", 1000)))
    subject.camera.ping()


def test_the_body_s_own_button_is_heard(subject: Subject) -> None:
    if subject.press is None:
        pytest.skip("no button to press")
    subject.press()
    appeared = [event for event in subject.wait_for(FileAppeared) if isinstance(event, FileAppeared)]
    assert len(subject.pull(appeared[0])) == appeared[0].file.size_bytes


def test_a_dial_turned_on_the_body_is_noticed(subject: Subject) -> None:
    if subject.turn_dial is None:
        pytest.skip("no dial to turn")
    state = subject.camera.settings()[Setting.ISO]
    wanted = another(state)
    subject.turn_dial(Setting.ISO, wanted)
    moved = [event for event in subject.wait_for(SettingMoved) if isinstance(event, SettingMoved)]
    assert Setting.ISO.value in [event.name for event in moved]
    assert subject.camera.settings()[Setting.ISO].value.number == wanted
    subject.turn_dial(Setting.ISO, state.value.number or 100)


def test_nothing_happens_when_nothing_happens(subject: Subject) -> None:
    subject.camera.events()
    started_s = time.monotonic()
    assert all(isinstance(event, SettingMoved) for event in subject.camera.events())
    assert time.monotonic() - started_s < 0.5


def test_it_answers_and_comes_back(subject: Subject) -> None:
    subject.camera.ping()
    serial = subject.camera.identity.serial
    subject.camera.reopen()
    subject.camera.ping()
    assert subject.camera.identity.serial == serial
    assert subject.shoot()


def test_raw_and_jpeg_come_as_two_files_of_one_shot(subject: Subject) -> None:
    state = subject.camera.settings().get(Setting.IMAGE_FORMAT)
    pair = next((choice for choice in state.choices if choice.word and "+" in choice.word), None) if state else None
    if state is None or pair is None or not state.settable:
        pytest.skip(f"{subject.name} does not offer RAW and JPEG together")
    if subject.name == "fake":
        pytest.skip("its script decides what a shot leaves")
    assert subject.camera.change(Setting.IMAGE_FORMAT, pair).taken
    try:
        contents = [subject.pull(file) for file in subject.shoot()]
    finally:
        subject.camera.change(Setting.IMAGE_FORMAT, state.value)
    assert sorted(content[:2] for content in contents) == [b"II", b"\xff\xd8"]
