from __future__ import annotations

import numpy as np
import pytest

from mock_camera import film_stock as stock
from mock_camera.film_stock import FORMATS, KINDS, rebate_transmittance
from mock_camera.strip_scene import FULL_T, Region, StripPlan, compose, gate_coverage, make_strip
from tests.unit.mock_camera.film_bench import clean_strip, crossing, middle_frame, plain_scene, whole_canvas


def row_at(canvas_top: float, px_per_mm: float, y_mm: float) -> int:
    return round((y_mm - canvas_top) * px_per_mm - 0.5)


def test_perforations_have_the_published_pitch_and_size() -> None:
    # KS-1870: SMPTE ST 119 (pitch 4.750 mm), 1.981 by 2.794 mm.
    strip, scale = clean_strip(), 40.0
    canvas = whole_canvas(strip, scale)
    middle = stock.FILM_135_WIDTH_MM / 2 - 2.01 - 2.794 / 2
    row = canvas.pixels[row_at(canvas.top_mm, scale, -middle), :, 0].astype(float)
    bright = (row > 0.8 * FULL_T).astype(int)
    starts, ends = np.flatnonzero(np.diff(bright) == 1), np.flatnonzero(np.diff(bright) == -1)
    starts, ends = starts[1:-1], ends[ends > starts[1]][: len(starts[1:-1])]
    assert np.diff(starts).mean() / scale == pytest.approx(4.750, abs=0.005)
    assert np.abs(np.diff(starts) / scale - 4.750).max() < 1.5 / scale
    assert (ends - starts).mean() / scale == pytest.approx(1.981, abs=1.0 / scale)


def test_the_film_is_as_wide_as_film() -> None:
    # 34.975 mm: ISO 1007, from memory; 34.98 SMPTE 139.
    strip, scale = clean_strip(), 40.0
    canvas = whole_canvas(strip, scale)
    column = canvas.pixels[:, round((20.5 - canvas.left_mm) * scale), 2].astype(float)
    dark = np.flatnonzero(column < 0.8 * FULL_T)
    assert (dark[-1] - dark[0] + 1) / scale == pytest.approx(34.975, abs=2.0 / scale)


def test_gaps_vary_and_frames_never_overlap() -> None:
    strip = make_strip(StripPlan(FORMATS["135-36x24"], KINDS["slide"], 6, ("hills",), 1, 5), 0)
    gaps = np.diff([frame.x_mm for frame in strip.frames]) - 36.0
    assert gaps.min() > 1.0
    assert gaps.std() > 0.02
    assert gaps.mean() == pytest.approx(2.0, abs=0.25)


def test_labels_run_on_over_strips_and_places_follow_from_the_seed() -> None:
    plan = StripPlan(FORMATS["135-36x24"], KINDS["slide"], 6, ("hills", "lake"), 1, 5)
    assert [frame.label for frame in make_strip(plan, 1).frames] == ["7", "8", "9", "10", "11", "12"]
    assert make_strip(plan, 1).frames == make_strip(plan, 1).frames
    assert make_strip(plan, 1).frames[0].x_mm != make_strip(plan, 0).frames[0].x_mm


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_between_frames_there_is_rebate(kind: str) -> None:
    strip = clean_strip(kind)
    canvas = whole_canvas(strip)
    between = (strip.frames[0].x_mm + strip.frames[1].x_mm) / 2
    at = canvas.pixels[row_at(canvas.top_mm, 28.0, 0.0), round((between - canvas.left_mm) * 28.0)]
    assert at / FULL_T == pytest.approx(rebate_transmittance(KINDS[kind]), rel=0.02, abs=2e-5)


def test_a_blank_frame_is_nothing_but_rebate() -> None:
    plan = StripPlan(
        FORMATS["135-36x24"], KINDS["colour-negative"], 2, ("hills",), 1, 5, blank=frozenset({1}), dust=0.0
    )  # fmt: skip
    strip = make_strip(plan, 0)
    frame = strip.frames[1]
    region = Region(frame.x_mm - 17, frame.x_mm + 17, -11.0, 11.0, 10.0)
    canvas = compose(strip, region, lambda _frame: plain_scene(0.18))
    assert np.ptp(canvas.pixels.reshape(-1, 3), axis=0).max() == 0


def test_the_frames_edges_are_where_the_layout_says() -> None:
    strip, scale = clean_strip(), 60.0
    frame = middle_frame(strip)
    region = Region(frame.x_mm - 19, frame.x_mm + 19, -12.6, 12.6, scale)
    cover = gate_coverage(frame, strip.film_format, region)
    profile = cover[300:1200].mean(axis=0).astype(float)
    left = crossing(profile, 1.0 * scale, 20)
    right = crossing(profile, 37.0 * scale, 20)
    assert (right - left) / scale == pytest.approx(36.0, abs=0.008)
    assert (left + right) / 2 / scale + 0.5 / scale == pytest.approx(19.0, abs=0.008)


def test_corners_of_the_gate_are_round() -> None:
    strip = clean_strip()
    frame = middle_frame(strip)
    corner = Region(frame.x_mm - 18.0, frame.x_mm - 17.9, -12.0, -11.9, 100.0)
    middle = Region(frame.x_mm - 18.0 + 0.1, frame.x_mm - 17.8, -0.1, 0.1, 100.0)
    assert gate_coverage(frame, strip.film_format, corner).max() < 0.1
    assert gate_coverage(frame, strip.film_format, middle).min() > 0.9


def test_dust_darkens() -> None:
    plan = StripPlan(FORMATS["135-36x24"], KINDS["colour-negative"], 2, ("hills",), 1, 5, dust=5.0)
    dirty = make_strip(plan, 0)
    assert len(dirty.specks) > 10
    speck = min(dirty.specks, key=lambda s: abs(s.points_mm[0, 1]))
    x, y = speck.points_mm.mean(axis=0)
    region = Region(x - 0.3, x + 0.3, y - 0.3, y + 0.3, 200.0)
    canvas = compose(dirty, region, lambda _frame: plain_scene(0.18))
    assert canvas.pixels[:, :, 0].min() < 0.75 * np.median(canvas.pixels[:, :, 0])
