from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from mock_camera import sensor
from mock_camera.film_stock import FORMATS, KINDS, transmittance
from mock_camera.hand import Pose
from mock_camera.placing import corners_px, pose_for
from mock_camera.render import LiveView, SensorCanvas, SensorView, to_sensor_canvas, tone_table
from mock_camera.sensor import Exposure, Light
from mock_camera.strip_scene import FULL_T, Canvas
from tests.unit.mock_camera.film_bench import clean_strip, crossing, middle_frame, ramp_length, seen_canvas

NORMAL = Exposure(1 / 30, 8.0, 100)
STEADY = Light()
FORMAT, KIND = FORMATS["135-36x24"], KINDS["colour-negative"]
SENSOR_PX = (1500, 1000)
STRIP = clean_strip()
FRAME = middle_frame(STRIP)


@pytest.fixture(scope="module")
def live() -> LiveView:
    return LiveView(FORMAT, KIND, 1024, 680, 1)


@pytest.fixture(scope="module")
def camera() -> SensorView:
    return SensorView(FORMAT, KIND, *SENSOR_PX, 1)


@pytest.fixture(scope="module")
def canvas() -> Canvas:
    return seen_canvas(STRIP, 30.0)


@pytest.fixture(scope="module")
def film() -> SensorCanvas:
    canvas = seen_canvas(STRIP, 60.0)
    return to_sensor_canvas(canvas, sensor.blur_mm(FORMAT, 8.0), FORMAT.view_width_mm / SENSOR_PX[0])


def linear_transmittance(picture: NDArray[np.uint8], channel: int) -> NDArray[np.float64]:
    """Undo the body's tone curve, so that half way is half way in light."""
    table = tone_table(NORMAL.relative * KIND.light_gain).astype(float)
    levels, first = np.unique(table, return_index=True)
    return np.asarray(np.interp(picture[:, :, channel].astype(float), levels, first / FULL_T), np.float64)


def edges_along(
    profile_picture: NDArray[np.float64], corners: list[list[float]], band: slice, reach: int = 12
) -> tuple[list[float], list[float]]:
    """Measured and true x of the left and the right side of the frame, averaged over a band of rows."""
    middle = (band.start + band.stop - 1) / 2
    profile = profile_picture[band].mean(axis=0)
    measured, true = [], []
    for top, bottom in ((corners[0], corners[3]), (corners[1], corners[2])):
        x = top[0] + (middle - top[1]) / (bottom[1] - top[1]) * (bottom[0] - top[0])
        measured.append(crossing(profile, x, reach))
        true.append(x)
    return measured, true


@pytest.mark.parametrize("wanted", [(0.0, 0.0, 0.0), (0.31, -0.2, 0.0), (-0.27, 0.3, 0.15)])
def test_live_view_edges_agree_with_the_truth(
    live: LiveView, canvas: Canvas, wanted: tuple[float, float, float]
) -> None:
    pose = pose_for(STRIP, FRAME, *wanted)
    picture = live.picture(canvas, [pose, pose], NORMAL, Light(), 0.0)
    corners = corners_px(pose, STRIP, FRAME, (1024, 680))
    # Blue: the base does not come near clipping.
    light = linear_transmittance(picture, 0)
    for band in (slice(90, 210), slice(280, 400), slice(470, 590)):
        measured, true = edges_along(light, corners, band)
        assert measured == pytest.approx(true, abs=0.2)
    measured, true = edges_along(light.T, [list(reversed(corners[i])) for i in (0, 3, 2, 1)], slice(300, 700), reach=7)
    assert measured == pytest.approx(true, abs=0.2)


def test_raw_edges_agree_with_the_truth(camera: SensorView, film: SensorCanvas) -> None:
    # Turned by a degree the edge crosses pixels at every phase, so that sampling cannot favour one.
    pose = pose_for(STRIP, FRAME, 0.2, 0.1, 1.0)
    mosaic = camera.mosaic(film, [pose], NORMAL, Light(), 0.0, 0, noise=False).interleaved().astype(float)
    corners = corners_px(pose, STRIP, FRAME, SENSOR_PX)
    # The first green plane: odd columns of even rows.
    plane = mosaic[0::2, 1::2]
    in_plane = [[(x - 1) / 2, y / 2] for x, y in corners]
    for band in (slice(80, 180), slice(200, 300), slice(320, 420)):
        measured, true = edges_along(plane, in_plane, band)
        assert measured == pytest.approx(true, abs=0.2)


def test_double_time_is_double_signal(camera: SensorView, film: SensorCanvas) -> None:
    pose = pose_for(STRIP, FRAME, 0.0, 0.0, 0.0)
    signals = []
    for exposure in (Exposure(1 / 120, 8.0, 100), Exposure(1 / 60, 8.0, 100), Exposure(1 / 60, 5.65685, 50)):
        mosaic = camera.mosaic(film, [pose], exposure, Light(), 0.0, 0)
        signals.append(mosaic.planes[1][200:300, 300:450].mean() - sensor.BLACK)
    assert signals[1] / signals[0] == pytest.approx(2.0, rel=0.005)
    assert signals[2] / signals[1] == pytest.approx(1.0, rel=0.01)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_normal_exposure_suits_the_film(kind: str) -> None:
    strip = clean_strip(kind)
    camera = SensorView(FORMAT, KINDS[kind], 600, 400, 1)
    pose = pose_for(strip, middle_frame(strip), 0.0, 0.0, 0.0)
    film = to_sensor_canvas(seen_canvas(strip, 20.0, 0.0 if KINDS[kind].negative else 4.0), 0.006, camera.mm_per_px)
    planes = camera.mosaic(film, [pose], NORMAL, Light(), 0.0, 0).planes
    brightest = max(
        (np.percentile(plane[20:180, 30:270], 99.0) - sensor.BLACK) / (sensor.WHITE - sensor.BLACK) for plane in planes
    )
    assert 0.4 < brightest < 0.95


def test_bare_light_is_neutral_and_reads_the_white_level_when_too_bright(camera: SensorView) -> None:
    planes = camera.mosaic(None, [Pose(-1, 0, 0, 0)], Exposure(1 / 125, 8.0, 100), Light(), 0.0, 0).planes
    values = np.array([planes[i][200:300, 300:450].mean() - sensor.BLACK for i in (0, 1, 3)])
    assert values / values[1] == pytest.approx(sensor.NEUTRAL, rel=0.005)
    planes = camera.mosaic(None, [Pose(-1, 0, 0, 0)], Exposure(1.0, 8.0, 100), Light(), 0.0, 0).planes
    assert (planes[1][200:300, 300:450] == sensor.WHITE).all()


def test_noise_is_that_of_the_photons(camera: SensorView) -> None:
    planes = camera.mosaic(None, [Pose(-1, 0, 0, 0)], Exposure(1 / 125, 8.0, 100), Light(), 0.0, 0).planes
    clean = camera.mosaic(None, [Pose(-1, 0, 0, 0)], Exposure(1 / 125, 8.0, 100), Light(), 0.0, 0, noise=False).planes
    part = np.s_[200:300, 300:450]
    span = sensor.WHITE - sensor.BLACK
    signal = (clean[1][part].mean() - sensor.BLACK) / span
    expected = math.sqrt(signal / sensor.FULL_WELL_E + (sensor.READ_NOISE_E / sensor.FULL_WELL_E) ** 2) * span
    assert (planes[1][part].astype(float) - clean[1][part]).std() == pytest.approx(expected, rel=0.05)


def test_grain_lies_still_on_the_film(camera: SensorView, film: SensorCanvas) -> None:
    here = pose_for(STRIP, FRAME, 0.0, 0.0, 0.0)
    step_mm = 8 * camera.mm_per_px
    there = here._replace(position_mm=here.position_mm - step_mm)
    grain = []
    for shot, pose in enumerate((here, there)):
        noisy = camera.mosaic(film, [pose], Exposure(1 / 2, 8.0, 12), Light(), 0.0, shot).planes[1].astype(float)
        clean = camera.mosaic(film, [pose], Exposure(1 / 2, 8.0, 12), Light(), 0.0, shot, noise=False).planes[1]
        grain.append(noisy - clean)
    still = np.corrcoef(grain[0][200:300, 300:450].ravel(), grain[1][200:300, 304:454].ravel())[0, 1]
    other = np.corrcoef(grain[0][200:300, 300:450].ravel(), grain[1][200:300, 300:450].ravel())[0, 1]
    assert still > 0.3
    assert abs(other) < 0.1


def test_moving_film_smears_by_its_path(camera: SensorView, film: SensorCanvas) -> None:
    middle = pose_for(STRIP, FRAME, 0.0, 0.0, 0.0)
    path_mm = 1.2
    poses = [middle._replace(position_mm=middle.position_mm + path_mm * ((i + 0.5) / 8 - 0.5)) for i in range(8)]
    plane = camera.mosaic(film, poses, NORMAL, Light(), 0.0, 0, noise=False).planes[1].astype(float)
    left = corners_px(middle, STRIP, FRAME, SENSOR_PX)[0][0] / 2
    profile = plane[200:300, round(left) - 22 : round(left) + 30].mean(axis=0)
    length_px = ramp_length(profile, profile[:3].mean(), profile[-3:].mean())
    assert length_px * 2 * camera.mm_per_px == pytest.approx(path_mm, rel=0.06)


def test_the_live_view_smears_too(live: LiveView, canvas: Canvas) -> None:
    middle = pose_for(STRIP, FRAME, 0.0, 0.0, 0.0)
    poses = [middle._replace(position_mm=middle.position_mm + d) for d in (-0.5, 0.5)]
    light = linear_transmittance(live.picture(canvas, poses, NORMAL, Light(), 0.0), 0)
    left = corners_px(middle, STRIP, FRAME, (1024, 680))[0][0]
    profile = light[200:400, round(left) - 22 : round(left) + 30].mean(axis=0)
    length_px = ramp_length(profile, profile[:3].mean(), profile[-3:].mean())
    assert length_px * live.mm_per_px == pytest.approx(1.0, rel=0.10)


@pytest.mark.parametrize(("time_s", "ripple"), [(1 / 30, 0.083), (1 / 50, 0.0), (1 / 125, 0.234)])
def test_flicker_is_averaged_as_the_exposure_allows(time_s: float, ripple: float) -> None:
    # Depth 1 at 100 Hz leaves 8.3 %, 0 %, 23.4 %: ripple = depth times |sinc(F t)|, the Fourier transform of a box.
    gain = Light(1.0, 100.0, 1.0).row_gain(4000, 0.0, time_s, 0.05)
    assert gain is not None
    assert (gain.max() - gain.min()) / 2 == pytest.approx(ripple, abs=0.001)


def test_live_view_brightness_follows_time_aperture_and_iso(live: LiveView, canvas: Canvas) -> None:
    pose = pose_for(STRIP, FRAME, 0.0, 0.0, 0.0)
    spot = np.s_[300:380, 450:570]

    def brightness(exposure: Exposure, light: Light = STEADY) -> float:
        return float(live.picture(canvas, [pose, pose], exposure, light, 0.0)[spot].mean())

    normal = brightness(NORMAL)
    assert brightness(Exposure(1 / 60, 8.0, 100)) < normal - 10
    assert brightness(Exposure(1 / 60, 8.0, 200)) == pytest.approx(normal, abs=0.5)
    assert brightness(Exposure(1 / 60, 5.65685, 100)) == pytest.approx(normal, abs=0.5)
    assert brightness(NORMAL, Light(0.5)) == pytest.approx(brightness(Exposure(1 / 60, 8.0, 100)), abs=0.5)


def test_an_empty_holder_shows_bare_light_inside_the_mask(live: LiveView) -> None:
    picture = live.picture(None, [Pose(-1, 0, 0, 0)] * 2, NORMAL, Light(), 0.0)
    assert picture[340, 512].min() > 245
    assert picture[2, 2].max() < 40


def test_sensors_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="even"):
        SensorView(FORMAT, KIND, 1501, 1000, 1)


def test_the_lens_is_sharpest_between_wide_open_and_stopped_down() -> None:
    spread = [sensor.blur_mm(FORMAT, f_number) for f_number in (2.8, 5.6, 22.0)]
    assert spread[1] < min(spread[0], spread[2])


def test_out_of_focus_blur_grows_with_the_error_and_shrinks_with_the_aperture() -> None:
    # Thin lens, magnification 36/42: working f-number on the film's side 8 * (1 + m) / m = 17.33, disc = error / it.
    disc_mm = 4.0 * np.sqrt(sensor.blur_mm(FORMAT, 8.0, 2.0) ** 2 - sensor.blur_mm(FORMAT, 8.0) ** 2)
    assert disc_mm == pytest.approx(2.0 / 17.333, rel=0.01)
    assert sensor.blur_mm(FORMAT, 5.6, 2.0) > sensor.blur_mm(FORMAT, 8.0, 2.0)


def test_an_unsharp_live_view_has_soft_edges(live: LiveView, canvas: Canvas) -> None:
    pose = pose_for(STRIP, FRAME, 0.0, 0.0, 0.0)
    steepest = []
    for error_mm in (0.0, 6.0):
        picture = live.picture(canvas, [pose, pose], NORMAL, STEADY, 0.0, error_mm)
        steepest.append(np.abs(np.diff(picture[300:380, 40:200, 1].astype(float).mean(axis=0))).max())
    assert steepest[1] < 0.6 * steepest[0]


@pytest.mark.parametrize("kind", ["colour-negative", "slide"])
@pytest.mark.parametrize("colour", [(0.5, 0.1, 0.05), (0.1, 0.3, 0.6), (0.18, 0.18, 0.18)])
def test_undoing_the_sensors_colours_gives_the_films_transmittance(
    kind: str, colour: tuple[float, float, float]
) -> None:
    strip = clean_strip(kind)
    camera = SensorView(FORMAT, KINDS[kind], 600, 400, 1)
    pose = pose_for(strip, middle_frame(strip), 0.0, 0.0, 0.0)
    film = to_sensor_canvas(seen_canvas(strip, 20.0, colour), 0.006, camera.mm_per_px)
    planes = camera.mosaic(film, [pose], NORMAL, STEADY, 0.0, 0, noise=False).planes
    bare = camera.mosaic(None, [pose], Exposure(1 / 120, 8.0, 100), STEADY, 0.0, 0, noise=False).planes
    spot = np.s_[90:110, 140:160]
    signal, light = (
        np.array([shot[i][spot].mean() - sensor.BLACK for i in (0, 1, 3)]) / sensor.NEUTRAL for shot in (planes, bare)
    )
    expected = transmittance(np.array([[colour]], np.float32), KINDS[kind])[0, 0]
    # Glare, a known part of the bare panel, is left in the signal.
    measured = sensor.UNMIXING @ (signal / (4.0 * light)) - sensor.GLARE
    assert measured == pytest.approx(expected, rel=0.03, abs=0.0006)
