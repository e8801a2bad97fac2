from __future__ import annotations

import io
import math
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import cv2
import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray

from mock_camera.rig import CopyRig, Exposure, RigSettings
from tests.unit.mock_camera.film_bench import ramp_length

NORMAL = Exposure(1 / 30, 8.0, 100)
SETTINGS = RigSettings(
    scenes=("patches", "hills"), frames_per_strip=3, strips=2, sensor_width_px=1500, sensor_height_px=1000,
    started_at=datetime(2024, 5, 6, 7, 8, 9, tzinfo=UTC),
)  # fmt: skip


class HandClock:
    """A clock that stands still until told."""

    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def decoded(jpeg: bytes) -> NDArray[np.uint8]:
    """Pixels of a JPEG, BGR."""
    picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    return np.asarray(picture, np.uint8)


def truth_of(rig: CopyRig) -> dict[str, Any]:
    """What the control channel would say."""
    return rig.control({"cmd": "truth"})


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def rig(clock: HandClock) -> Iterator[CopyRig]:
    rig = CopyRig(SETTINGS, clock)
    yield rig
    rig.close()


def test_film_is_placed_where_the_command_says(rig: CopyRig) -> None:
    assert rig.control({"cmd": "place", "frame": 2, "along_mm": 0.5, "across_mm": -0.3, "tilt_deg": 0.6, "strip": 1})[
        "ok"
    ]
    truth = truth_of(rig)
    assert truth["offset_mm"] == pytest.approx([0.5, -0.3])
    assert truth["tilt_deg"] == pytest.approx(0.6)
    assert (truth["strip"], truth["frame_index"], truth["frame_label"]) == (1, 2, "6")
    assert truth["speed_mm_s"] == 0.0
    assert truth["film_present"] is True


def test_the_live_view_is_a_jpeg_of_the_asked_size(rig: CopyRig) -> None:
    for size in ((1024, 680), (640, 424)):
        picture = decoded(rig.live_view_jpeg(NORMAL, *size))
        assert picture.shape == (size[1], size[0], 3)
    # A colour negative's base looks orange under daylight white balance.
    blue, green, red = picture[35, 320].astype(int)
    assert red > green + 20 > blue + 40


def test_film_just_put_in_place_is_not_smeared(rig: CopyRig) -> None:
    before = rig.live_view_jpeg(NORMAL)
    rig.control({"cmd": "place", "frame": 2})
    rig.control({"cmd": "place", "frame": 0})
    pictures = [decoded(data).astype(float) for data in (before, rig.live_view_jpeg(NORMAL))]
    assert np.abs(pictures[0] - pictures[1]).mean() < 3.0


def test_a_raw_shows_the_film_at_the_moment_of_exposure(rig: CopyRig, clock: HandClock) -> None:
    rig.control({"cmd": "place", "frame": 1})
    opened = clock.now_s = 101.0
    clock.now_s = 102.0
    rig.control({"cmd": "place", "frame": 2, "along_mm": 3.0})
    picture = rig.expose(NORMAL, opened)
    assert picture.truth["frame_index"] == 1
    assert picture.truth["offset_mm"] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert (picture.width_px, picture.height_px) == (1500, 1000)


def test_a_raw_of_moving_film_is_smeared_by_speed_times_time(rig: CopyRig, clock: HandClock) -> None:
    rig.control({"cmd": "place", "frame": 0, "along_mm": 2.5})
    rig.control({"cmd": "move", "by_mm": -5.0, "seconds": 1.0})
    clock.now_s += 0.5
    speed = truth_of(rig)["speed_mm_s"]
    assert speed == pytest.approx(1.875 * 5.0, rel=0.01)
    exposure = Exposure(1 / 8, 8.0, 25)
    opened = clock.now_s - exposure.time_s / 2
    clock.now_s += 1.0
    picture = rig.expose(exposure, opened)
    with rawpy.imread(io.BytesIO(picture.dng)) as raw:
        green = raw.raw_image_visible[0::2, 1::2].astype(float)
    px_per_mm = 1500 / 42.0 / 2
    # 'patches' has an even grey border: the frame's right edge is a clean step, smeared.
    edge = 749.5 / 2 + 18.0 * px_per_mm
    rows = green[60:440]
    profile = rows[:, round(edge) - 28 : round(edge) + 28].mean(axis=0)
    length_mm = ramp_length(profile, profile[:6].mean(), profile[-6:].mean()) / px_per_mm
    assert length_mm == pytest.approx(speed * exposure.time_s, rel=0.10)


def test_the_same_seed_gives_the_same_bytes(clock: HandClock) -> None:
    files = []
    for seed in (5, 5, 6):
        small = replace(SETTINGS, seed=seed, strips=1, frames_per_strip=2, sensor_width_px=600, sensor_height_px=400)
        rig = CopyRig(small, clock)
        rig.control({"cmd": "place", "frame": 1})
        files.append((rig.live_view_jpeg(NORMAL), rig.expose(NORMAL, clock.now_s).dng))
        rig.close()
    assert files[0] == files[1]
    assert files[0][0] != files[2][0]
    assert files[0][1] != files[2][1]


def test_the_truth_of_a_shot_names_exposure_and_scene(rig: CopyRig, clock: HandClock) -> None:
    truth = rig.expose(NORMAL, clock.now_s).truth
    assert truth["scene"] == "patches"
    assert (truth["time_s"], truth["f_number"], truth["iso"]) == (NORMAL.time_s, 8.0, 100)
    assert truth["opened_at_s"] == clock.now_s


def test_the_clock_of_the_exif_runs_with_the_rig(rig: CopyRig, clock: HandClock) -> None:
    clock.now_s += 61.25
    opened = clock.now_s
    picture = rig.expose(NORMAL, opened)
    assert b"2024:05:06 07:09:10" in picture.dng
    assert b"2024:05:06 07:09:10" in picture.jpeg


def test_an_empty_holder_has_no_frame_and_gives_bare_light(rig: CopyRig, clock: HandClock) -> None:
    rig.control({"cmd": "film", "strip": -1})
    truth = truth_of(rig)
    assert truth["film_present"] is False
    assert truth["frame_index"] is None
    assert truth["corners_px"] is None
    assert rig.expose(NORMAL, clock.now_s).truth["scene"] is None
    assert not rig.control({"cmd": "move", "by_mm": 1.0})["ok"]


def test_other_film_can_be_laid_on_the_table(rig: CopyRig) -> None:
    answer = rig.control({"cmd": "film", "kind": "slide", "format": "135-18x24", "blank": [1], "frames_per_strip": 2})
    assert answer["ok"]
    rig.control({"cmd": "place", "frame": 1})
    truth = truth_of(rig)
    assert truth["blank"] is True
    corners = truth["corners_px"]
    assert math.dist(corners[0], corners[1]) * truth["mm_per_px"] == pytest.approx(18.0)
    rig.live_view_jpeg(NORMAL)


def test_a_raw_out_of_focus_has_less_detail(rig: CopyRig, clock: HandClock) -> None:
    detail = []
    for error_mm in (0.0, 4.0):
        assert rig.control({"cmd": "focus", "error_mm": error_mm})["error_mm"] == error_mm
        with rawpy.imread(io.BytesIO(rig.expose(NORMAL, clock.now_s).dng)) as raw:
            green = raw.raw_image_visible[0::2, 1::2].astype(float)
        # The lines and the star of 'patches'.
        detail.append(np.abs(np.diff(green[350:420, 80:600], axis=1)).mean())
    assert detail[1] < 0.8 * detail[0]


def test_light_can_be_dimmed_and_made_to_flicker(rig: CopyRig) -> None:
    assert rig.control({"cmd": "light", "level": 0.5, "flicker_hz": 100.0, "depth": 0.3})["level"] == 0.5
    assert rig.control({"cmd": "light"})["flicker_hz"] == 100.0
    assert not rig.control({"cmd": "light", "depth": 2.0})["ok"]


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ({"cmd": "dance"}, "knows no command"),
        ({"cmd": "place", "frame": 9}, "frame 9 is not on strip 0"),
        ({"cmd": "place", "frame": 0, "strip": 7}, "strip 7 is not on the table"),
        ({"cmd": "place", "frame": "first"}, "whole number"),
        ({"cmd": "place", "frame": 0, "tilt_deg": float("nan")}, "must be a number"),
        ({"cmd": "film", "kind": "tintype"}, "no film kind"),
        ({"cmd": "film", "scenes": ["moon"]}, "no scene"),
        ({"cmd": "film", "colour": "blue"}, "unknown word"),
        ({"cmd": "hand", "do": "wave"}, "it can be"),
        ({"cmd": "move", "by_mm": 1.0, "seconds": -1.0}, "cannot take"),
    ],
)
def test_senseless_commands_are_answered_with_a_reason(rig: CopyRig, command: dict[str, object], words: str) -> None:
    before = truth_of(rig)
    answer = rig.control(command)
    assert answer["ok"] is False
    assert words in str(answer["error"])
    assert truth_of(rig) == before


def test_the_hand_works_through_the_commands(rig: CopyRig, clock: HandClock) -> None:
    rig.control({"cmd": "hand", "do": "next"})
    clock.now_s += 20.0
    truth = truth_of(rig)
    assert truth["frame_index"] == 1
    assert max(abs(v) for v in truth["offset_mm"]) < 0.15
    assert truth["speed_mm_s"] == 0.0


def test_closing_leaves_no_thread(clock: HandClock) -> None:
    before = threading.active_count()
    rig = CopyRig(SETTINGS, clock)
    rig.live_view_jpeg(NORMAL)
    rig.close()
    assert threading.active_count() == before
