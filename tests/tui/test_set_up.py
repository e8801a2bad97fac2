"""Meters and steps of setting a rig up, and their screen."""

import threading
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.tui.bench import until
from tests.tui.drawn_film import PX_PER_MM, edges_at, live_frame, live_pixels, sighting_at
from tests.tui.scripted_runner import SETTINGS
from tests.tui.scripted_source import ScriptedSource
from tethercap.camera.fake import FakeCamera
from tethercap.clock import ManualClock
from tethercap.errors import CameraGoneError, CameraRefusedError
from tethercap.exposure.settings import Setting
from tethercap.geometry import SizePx
from tethercap.pictures import LiveFrame
from tethercap.profile_files import load_film_format
from tethercap.session.events import SettingChanged, SettingsRead, Watched
from tethercap.tui.app import TerminalApp
from tethercap.tui.lines import text_of
from tethercap.tui.live_source import CameraSource, SourceEvent, SourceSaid, SourceTroubled
from tethercap.tui.meters import BestFocus, measure_focus, measure_framing, measure_light
from tethercap.tui.screens.set_up import SetUpScreen
from tethercap.tui.set_up_steps import STEPS, SetUpView, look_at_exposure, look_at_focus, look_at_framing
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.rows import Rows
from tethercap.watch.sighting import Sighting
from tethercap.watch.watcher import Watcher

VIEW = SizePx(1024, 680)


def test_framing_gives_room_on_each_side_in_mm() -> None:
    """Frame 36 x 24 mm at 24 px/mm in 1024 x 680: (1024 / 24 - 36) / 2 = 3.33 mm, shifted by 1 mm to the right."""
    framing = measure_framing(edges_at(1.0), VIEW)
    assert framing.margin_mm == pytest.approx((4.33, 2.33, 2.17, 2.17), abs=0.05)
    assert framing.fills == pytest.approx(24 * PX_PER_MM / 680, abs=0.005)
    assert framing.px_per_mm == pytest.approx(PX_PER_MM)


def _textured() -> np.typing.NDArray[np.uint8]:
    picture = live_pixels(0.0).astype(np.int16)
    grain = np.random.default_rng(7).normal(0, 10, (680, 1024, 1))
    return np.clip(picture + grain, 0, 255).astype(np.uint8)


def test_focus_falls_with_blur_everywhere_and_only_where_it_is_blurred() -> None:
    sharp = _textured()
    whole, half = cv2.GaussianBlur(sharp, (0, 0), 1.5), sharp.copy()
    half[:, 512:] = whole[:, 512:]
    best = BestFocus()
    assert best.shares(measure_focus(sharp, edges_at(0.0))) == (1.0,) * 5
    blurred = best.shares(measure_focus(np.asarray(whole, dtype=np.uint8), edges_at(0.0)))
    assert max(share or 1 for share in blurred) < 0.5
    _, top_left, top_right, bottom_right, bottom_left = best.shares(measure_focus(half, edges_at(0.0)))
    assert min(top_left or 0, bottom_left or 0) > 0.9
    assert max(top_right or 1, bottom_right or 1) < 0.5


def test_focus_does_not_care_for_brighter_light() -> None:
    picture = _textured()
    darker = (picture * 0.6).astype(np.uint8)
    bright = np.array(measure_focus(picture, None), dtype=float)
    assert np.array(measure_focus(darker, None), dtype=float) == pytest.approx(bright, rel=0.15)


def test_nothing_to_focus_on_is_not_a_measurement() -> None:
    assert measure_focus(np.full((680, 1024, 3), 128, dtype=np.uint8), None) == (None,) * 5


def test_light_is_counted_inside_the_frame() -> None:
    picture = np.full((680, 1024, 3), 255, dtype=np.uint8)
    picture[52:628, 80:944] = (40, 120, 200)
    light = measure_light(picture, edges_at(0.0))
    assert max(light.clipped) == 0
    assert light.brightest == pytest.approx((200, 120, 40))
    assert light.histogram.sum(axis=1) == pytest.approx([1, 1, 1])
    assert max(measure_light(picture, None).clipped) > 0.2


@pytest.mark.parametrize(
    ("offset_mm", "tilt_deg", "good", "said"),
    [
        (0.0, 0.0, True, "fills the view"),
        (0.0, 1.0, False, "lies straight"),
        (3.0, 0.0, False, "too near the rim"),
        (5.0, 0.0, False, "cut off"),
    ],
)
def test_framing_says_what_to_do(offset_mm: float, tilt_deg: float, good: bool, said: str) -> None:
    view = SetUpView()
    view.take(live_frame(1, offset_mm), sighting_at(1, offset_mm, tilt_deg=tilt_deg))
    finding = look_at_framing(view, 46)
    assert finding.good is good
    assert said in finding.sentence


def test_steps_say_that_they_cannot_tell_before_there_is_a_picture() -> None:
    view = SetUpView()
    for step in STEPS:
        assert step.look(view, 46).good is None, step.id


def test_focus_is_good_only_after_a_peak_was_passed() -> None:
    view = SetUpView()
    view.focus = view.best.shares((1.0,) * 5)
    assert look_at_focus(view, 46).good is None
    view.focus = view.best.shares((1.0, 1.0, 0.5, 1.0, 1.0))
    finding = look_at_focus(view, 46)
    assert finding.good is False and "top right" in finding.sentence
    view.focus = view.best.shares((0.97,) * 5)
    assert look_at_focus(view, 46).good is True


@pytest.mark.parametrize(
    ("level", "good", "said"), [(60, False, "dark"), (220, True, "bright"), (255, False, "clipped")]
)
def test_exposure_says_whether_clear_film_is_bright(level: int, good: bool, said: str) -> None:
    view = SetUpView()
    view.light = measure_light(np.full((68, 102, 3), level, dtype=np.uint8), None)
    finding = look_at_exposure(view, 46)
    assert finding.good is good
    assert said in finding.sentence


async def test_screen_opens_steps_changes_exposure_and_stops_the_source() -> None:
    source = ScriptedSource([SettingsRead(dict(SETTINGS)), Watched(live_frame(1, 0.6), sighting_at(1, 0.6))])
    app = TerminalApp(lambda: SetUpScreen(source, title="invented"))

    def steps() -> str:
        return "\n".join(text_of(line) for line in app.screen.query_one("#steps", Rows).lines)

    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, SetUpScreen) and "room left" in steps())
        await pilot.press("3")
        await until(pilot, lambda: "sensitivity" in steps())
        await pilot.press("space")
        await until(pilot, lambda: "room left" in steps())
        await pilot.press("e", "up")
        changed = replace(SETTINGS[Setting.SHUTTER], value=SETTINGS[Setting.SHUTTER].choices[2])
        source.emit(SettingsRead({**SETTINGS, Setting.SHUTTER: changed}))
        await until(pilot, lambda: "[time 1/125 s]" in app.screen.query_one(AskRow).question)
        await pilot.press("enter", "q")
    assert [asked[0] for asked in source.asked if asked != ("stop",)] == [Setting.SHUTTER]
    assert ("stop",) in source.asked


def _source(camera: FakeCamera) -> CameraSource:
    return CameraSource(camera, Watcher(load_film_format("135-36x24")))


def test_camera_source_gives_watched_pictures_and_reads_changes_back() -> None:
    jpeg = cv2.imencode(".jpg", live_pixels(0.0))[1].tobytes()
    source = _source(FakeCamera(ManualClock(), live=lambda number: jpeg))
    said: list[SourceEvent] = []
    changed, seen = threading.Event(), threading.Event()

    def take(event: SourceEvent) -> None:
        said.append(event)
        if isinstance(event, SettingChanged):
            changed.set()
        if isinstance(event, Watched):
            seen.set()

    source.start(take)
    source.change(Setting.ISO, 200)
    assert changed.wait(20) and seen.wait(20)
    source.stop()
    assert isinstance(said[0], SettingsRead)
    change = next(event.change for event in said if isinstance(event, SettingChanged))
    assert (change.setting, change.taken) == (Setting.ISO, True)


def test_camera_source_says_that_the_camera_is_lost_and_gets_it_back() -> None:
    jpeg = cv2.imencode(".jpg", live_pixels(0.0))[1].tobytes()
    camera = FakeCamera(ManualClock(), live=lambda number: jpeg)
    source = _source(camera)
    said: list[SourceEvent] = []
    back = threading.Event()

    def take(event: SourceEvent) -> None:
        said.append(event)
        if isinstance(event, Watched) and not any(isinstance(one, SourceTroubled) for one in said):
            camera.lose("The cable came out.")
        elif isinstance(event, Watched):
            back.set()

    source.start(take)
    assert back.wait(20)
    source.stop()
    trouble = next(event for event in said if isinstance(event, SourceTroubled))
    assert trouble.error.what == "The cable came out."
    assert "reopen" in camera.calls
    assert any(isinstance(event, SettingsRead) for event in said[said.index(trouble) :])


def test_camera_source_goes_on_after_a_setting_was_refused() -> None:
    jpeg = cv2.imencode(".jpg", live_pixels(0.0))[1].tobytes()
    camera = FakeCamera(ManualClock(), live=lambda number: jpeg)
    camera.fail_next("change", CameraRefusedError("The mode dial stands elsewhere."))
    source = _source(camera)
    said: list[SourceEvent] = []
    changed = threading.Event()

    def take(event: SourceEvent) -> None:
        said.append(event)
        if isinstance(event, SettingChanged):
            changed.set()

    source.start(take)
    source.change(Setting.ISO, 200)
    source.change(Setting.ISO, 400)
    assert changed.wait(20)
    source.stop()
    assert [event.sentence for event in said if isinstance(event, SourceSaid)] == ["The mode dial stands elsewhere."]
    assert not any(isinstance(event, SourceTroubled) for event in said)


def test_camera_source_tells_what_was_turned_on_the_body() -> None:
    camera = FakeCamera(ManualClock(), live=lambda number: b"")
    source = _source(camera)
    seen = threading.Event()

    def take(event: SourceEvent) -> None:
        if isinstance(event, SettingsRead) and event.settings[Setting.ISO].value.number == 400:
            seen.set()

    source.start(take)
    camera.turn_dial(Setting.ISO, 400)
    assert seen.wait(20)
    source.stop()


async def test_screen_says_what_became_of_the_camera_and_goes_on_when_it_is_back() -> None:
    source = ScriptedSource([SettingsRead(dict(SETTINGS)), Watched(live_frame(1, 0.6), sighting_at(1, 0.6))])
    app = TerminalApp(lambda: SetUpScreen(source, title="invented"))

    def steps() -> str:
        return " ".join(text_of(line).strip() for line in app.screen.query_one("#steps", Rows).lines)

    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, SetUpScreen) and "room left" in steps())
        gone = CameraGoneError("The link broke.", safe="Nothing was lost.", todo="Check the cable.")
        source.emit(SourceTroubled(gone))
        await until(pilot, lambda: "The link broke. Nothing was lost. Check the cable." in steps())
        source.emit(SettingsRead(dict(SETTINGS)))
        await until(pilot, lambda: "room left" in steps())
        await pilot.press("q")


def _nothing_found(sequence: int) -> Sighting:
    return replace(sighting_at(sequence, 0.0), edges=None, alignment=None)


def test_focus_is_not_compared_with_what_lay_there_before() -> None:
    """First the film is not found yet, then it is, then it is pulled on: none of that is a turn of the focus."""
    view = SetUpView()
    sharp = LiveFrame(_textured(), 0.0, 1)
    soft = LiveFrame(np.asarray(cv2.GaussianBlur(_textured(), (0, 0), 1.0), dtype=np.uint8), 0.0, 2)
    view.take(sharp, _nothing_found(1))
    view.measure()
    view.take(soft, sighting_at(2, 0.0))
    view.measure()
    assert look_at_focus(view, 46).good is None
    view.take(sharp, sighting_at(3, 0.0))
    view.measure()
    view.take(soft, sighting_at(4, 5.0))
    view.measure()
    assert look_at_focus(view, 46).good is None


def test_focus_is_measured_where_the_frame_lay_while_it_is_too_soft_to_be_found() -> None:
    view = SetUpView()
    view.take(LiveFrame(_textured(), 0.0, 1), sighting_at(1, 0.0))
    view.measure()
    soft = LiveFrame(np.asarray(cv2.GaussianBlur(_textured(), (0, 0), 2.0), dtype=np.uint8), 0.0, 2)
    view.take(soft, _nothing_found(2))
    view.measure()
    assert look_at_focus(view, 46).good is False
