import cv2
import numpy as np
import numpy.typing as npt
import pytest

from tethercap.watch.motion import MotionMeter
from tethercap.watch.shift import OpenView, Shift, measure_shift

F32 = npt.NDArray[np.float32]
RNG = np.random.default_rng(5)
SCENE: F32 = np.asarray(
    cv2.GaussianBlur(RNG.uniform(40, 220, (300, 600)).astype(np.float32), (0, 0), 3.0) * 4 - 350, np.float32
)
SHAPE = (170, 256)


def view(x_px: float, y_px: float = 0.0, *, noise: float = 0.7, seed: int = 0) -> F32:
    """The scene moved by (x_px, y_px), with a camera's noise."""
    shift = np.array([[1, 0, x_px - 150], [0, 1, y_px - 60]], np.float32)
    moved = cv2.warpAffine(SCENE, shift, (SHAPE[1], SHAPE[0]), flags=cv2.INTER_CUBIC)
    return (moved + np.random.default_rng(seed).normal(0, noise, SHAPE)).astype(np.float32)


WINDOW: F32 = cv2.createHanningWindow((SHAPE[1] // 2, SHAPE[0] // 2), cv2.CV_32F).astype(np.float32)


def between(before: F32, after: F32, expected_x_px: float = 0.0) -> Shift:
    return measure_shift(OpenView.of(before), OpenView.of(after), WINDOW, expected_x_px)


@pytest.mark.parametrize(
    ("x_px", "within_px"),
    [(0.0, 0.01), (0.03125, 0.015), (-0.40625, 0.06), (1.71875, 0.08), (-6, 0.03), (23.5, 0.08), (-60, 0.03)],
)
def test_shift_is_sharpest_near_rest(x_px: float, within_px: float) -> None:
    # OpenCV interpolates in steps of 1/32 px, so the shifts are multiples of it.
    shift = between(view(0.0, seed=1), view(x_px, seed=2))
    assert shift.trusted
    assert shift.x_px == pytest.approx(x_px, abs=within_px)
    assert shift.y_px == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("x_px", [-0.6, 0.0, 0.6])
def test_a_smooth_frame_that_comes_to_rest_does_not_seem_to_creep_on(x_px: float) -> None:
    # Two sharp edges in clear base: from the pixel beside, half of the way back is all that their slope tells.
    frame = np.full((SHAPE[0] * 4, SHAPE[1] * 4), 200, np.float32)
    frame[180:520, 44:980] = 95
    small = cv2.resize(frame, SHAPE[::-1], interpolation=cv2.INTER_AREA)
    before, after = (
        np.asarray(small + np.random.default_rng(seed).normal(0, 0.7, SHAPE), np.float32) for seed in (1, 2)
    )
    assert between(before, after, x_px).x_px == pytest.approx(0.0, abs=0.05)


def test_brightness_is_not_movement() -> None:
    shift = between(view(0.0, seed=1), view(0.0, seed=2) * np.float32(0.8) + 5)
    assert abs(shift.x_px) < 0.02


def test_bands_of_flicker_are_not_movement() -> None:
    bands = (1 + 0.1 * np.sin(np.linspace(0, 9, SHAPE[0])))[:, None].astype(np.float32)
    shift = between(view(0.0, seed=1), view(0.0, seed=2) * bands)
    assert abs(shift.x_px) < 0.02


def test_a_scene_cut_is_not_trusted() -> None:
    other = cv2.GaussianBlur(RNG.uniform(0, 255, SHAPE).astype(np.float32), (0, 0), 3.0) * 4 - 350
    assert not between(view(0.0), other.astype(np.float32)).trusted


def test_the_same_picture_again_says_nothing() -> None:
    picture = view(0.0)
    other = picture.copy()
    assert between(picture, other).repeated
    other[0, 0] += 1
    assert not between(picture, other).repeated


def follow(
    places_px: list[float], mm_per_px: float = 0.15, still_mm_s: float = 0.2
) -> tuple[MotionMeter, list[bool], list[float]]:
    meter, still, rested = MotionMeter(), [], []
    for i, x_px in enumerate(places_px):
        motion = meter.update(view(x_px, seed=10 + i), i / 30, mm_per_px, still_mm_s)
        still.append(motion is not None and motion.still)
        rested.append(0.0 if motion is None else motion.still_for_s)
    return meter, still, rested


def test_speed_has_a_sign_and_adds_up() -> None:
    meter = MotionMeter()
    meter.update(view(0.0, seed=1), 0.0, 0.15, 0.2)
    motion = meter.update(view(-4.0, seed=2), 1 / 30, 0.15, 0.2)
    assert motion is not None
    assert motion.along_mm_s == pytest.approx(-4.0 * 0.15 * 30, rel=0.02)
    assert not motion.still
    assert meter.along_px == pytest.approx(-4.0, abs=0.05)


def test_rest_is_seen_within_three_pictures() -> None:
    _, still, rested = follow([0, 5, 9, 11, 12, 12, 12, 12])
    assert still == [False] * 5 + [True] * 3
    assert rested[6] == pytest.approx(2 / 30)


def test_a_slow_creep_is_not_rest() -> None:
    _, still, _ = follow([0.1 * i for i in range(10)])  # 0.45 mm/s
    assert not any(still)


def test_film_that_trembles_in_its_place_rests_a_little_later() -> None:
    trembling = [0.0, 0.05, 0.1, 0.05, 0.0, -0.05, 0.0, 0.05, 0.1, 0.05]  # 0.22 mm/s to and fro
    _, still, rested = follow([3.0, 1.0, *trembling], still_mm_s=0.3)
    assert all(still[3:])
    assert next(i for i, since in enumerate(rested) if since >= 0.09) == 6
    assert all(since >= 0.09 for since in rested[6:])


def test_a_dropped_picture_does_not_double_the_speed() -> None:
    meter = MotionMeter()
    meter.update(view(0.0, seed=1), 0.0, 0.15, 0.2)
    motion = meter.update(view(4.0, seed=2), 2 / 30, 0.15, 0.2)
    assert motion is not None
    assert motion.along_mm_s == pytest.approx(4.0 * 0.15 * 15, rel=0.02)


def test_a_cut_starts_anew() -> None:
    meter, _, _ = follow([0, 0, 0])
    other = cv2.GaussianBlur(RNG.uniform(0, 255, SHAPE).astype(np.float32), (0, 0), 3.0) * 4 - 350
    motion = meter.update(other.astype(np.float32), 1.0, 0.15, 0.2)
    assert motion is not None
    assert meter.lost
    assert not motion.still


def test_film_that_comes_into_bare_light_is_followed_again() -> None:
    meter = MotionMeter()
    for i in range(4):
        light = np.full(SHAPE, 230, np.float32) + np.random.default_rng(i).normal(0, 0.5, SHAPE)
        meter.update(light.astype(np.float32), i / 30, 0.15, 0.2)
    lost = [meter.lost]
    meter.update(view(0.0, seed=1), 4 / 30, 0.15, 0.2)
    motion = meter.update(view(3.0, seed=2), 5 / 30, 0.15, 0.2)
    lost.append(meter.lost)
    assert motion is not None
    assert lost == [True, False]
    assert motion.along_mm_s == pytest.approx(3.0 * 0.15 * 30, rel=0.02)


def test_bare_light_cannot_be_followed() -> None:
    light = [np.full(SHAPE, 230, np.float32) + np.random.default_rng(k).normal(0, 0.5, SHAPE) for k in range(2)]
    assert not between(light[0].astype(np.float32), light[1].astype(np.float32)).trusted


def test_a_picture_that_is_gone_is_no_rest() -> None:
    light = np.full(SHAPE, 230, np.float32) + np.random.default_rng(1).normal(0, 0.5, SHAPE)
    assert not between(view(0.0), light.astype(np.float32)).trusted


def row_of_holes(x_px: float) -> F32:
    """Even film, fall-off that lies still, and holes every 31 px that all look alike."""
    columns, rows = np.arange(SHAPE[1], dtype=np.float32), np.arange(SHAPE[0], dtype=np.float32)[:, None]
    hole = np.clip(6.5 - np.abs((columns - x_px) % 31 - 15.5), 0, 1) * ((rows < 12) | (rows > SHAPE[0] - 12))
    fall_off = 1 - 0.3 * ((columns / SHAPE[1] - 0.5) ** 2)
    noise = np.random.default_rng(round(x_px * 7)).normal(0, 0.5, SHAPE)
    return np.asarray(
        (150 + 80 * cv2.GaussianBlur(hole.astype(np.float32), (0, 0), 0.8)) * fall_off + noise, np.float32
    )


@pytest.mark.parametrize("x_px", [0.75, 3.0, -9.0])
def test_holes_that_look_alike_do_not_leap(x_px: float) -> None:
    shift = between(row_of_holes(40.0), row_of_holes(40.0 + x_px))
    assert shift.trusted
    assert shift.x_px == pytest.approx(x_px, abs=0.1)


def test_bands_that_run_do_not_end_a_rest() -> None:
    meter, rows = MotionMeter(), np.linspace(0, 12, SHAPE[0])[:, None]
    rested = []
    for i in range(12):
        bands = (1 + 0.1 * np.sin(rows + 2.1 * i)).astype(np.float32)
        motion = meter.update(view(0.0, seed=30 + i) * bands, i / 30, 0.15, 0.3)
        rested.append(0.0 if motion is None else motion.still_for_s)
    assert rested[-1] == pytest.approx(11 / 30, abs=0.04)


def between_pictures(x_px: float, seed: int) -> F32:
    """Clear film with holes between two dense pictures, 190 px apart, one going out while the other comes in."""
    holes = row_of_holes(40.0 + x_px)
    place = np.arange(SHAPE[1], dtype=np.float32) - np.float32(x_px)
    dense = np.minimum(np.clip(place - 30, 0, 1), np.clip(220 - place, 0, 1))
    noise = np.random.default_rng(seed).normal(0, 0.7, SHAPE)
    return np.asarray(holes * (0.15 + 0.85 * dense) + noise, np.float32)


@pytest.mark.parametrize("x_px", [-6.0, -12.0])
def test_pictures_that_come_and_go_leave_the_movement_of_clear_film_between_explained(x_px: float) -> None:
    shift = between(between_pictures(0.0, 1), between_pictures(x_px, 2), 1.3 * x_px)
    assert shift.trusted
    assert shift.x_px == pytest.approx(x_px, abs=0.05)
    assert shift.unlike < 0.05


def test_rest_after_a_move_across_is_seen_as_soon_as_after_one_along() -> None:
    meter, still = MotionMeter(), []
    for i, y_px in enumerate([0.0, 4.0, 9.0, 12.0, 12.0, 12.0, 12.0]):
        motion = meter.update(view(0.0, y_px, seed=50 + i), i / 30, 0.15, 0.3)
        still.append(motion is not None and motion.still)
    assert still == [False] * 4 + [True] * 3


def test_film_that_creeps_slower_and_slower_rests_once_it_is_slow_enough() -> None:
    # Speed falls with a time constant of 0.2 s; it is below 0.3 mm/s from about 0.32 s on.
    places = [(2.0 - 2.0 * float(np.exp(-i / 30 / 0.2))) for i in range(24)]
    _, still, rested = follow(places, still_mm_s=0.3)
    begun = next(i for i, since in enumerate(rested) if since >= 0.09)
    assert still[begun]
    assert 0.32 + 0.03 < begun / 30 < 0.32 + 0.15
