"""The check of a RAW against drawings with exact truth."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.unit.check.drawn_raw import HEIGHT_PX, WIDTH_PX, corners, draw_raw
from tethercap.check import registry
from tethercap.check.findings import FindingKind, RawFindings
from tethercap.check.raw import CheckRequest, check_raw
from tethercap.check.view import raw_planes, raw_to_view
from tethercap.film.kinds import FilmKind
from tethercap.geometry import OffsetMm, SizePx
from tethercap.pictures import RawPicture
from tethercap.profile_files import load_film_format
from tethercap.watch.likeness import small_view

REQUEST = CheckRequest(
    film_format=load_film_format("135-36x24"), film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_view_width=42.0
)


def codes(findings: RawFindings) -> set[str]:
    return {finding.kind.code for finding in findings.findings}


def test_a_good_picture_passes_with_the_frame_where_it_is() -> None:
    found = check_raw(draw_raw(), REQUEST)
    assert found.passed
    assert codes(found) == set()
    assert found.edges is not None
    error_px = found.edges.corners.as_array() - corners().as_array()
    assert np.abs(error_px).max() < 0.004 * WIDTH_PX


@pytest.mark.parametrize(
    ("offset_mm", "tilt_deg", "code"),
    [
        ((1.0, 0.0), 0.0, registry.OFF_CENTRE),
        ((0.0, -0.9), 0.0, registry.OFF_CENTRE),
        ((0.0, 0.0), 1.0, registry.TILTED),
    ],
)
def test_film_that_slipped_is_not_accepted(offset_mm: tuple[float, float], tilt_deg: float, code: FindingKind) -> None:
    found = check_raw(draw_raw(offset_mm, tilt_deg), REQUEST)
    assert not found.passed
    assert code.code in codes(found)


def test_a_picture_is_compared_with_the_live_view_at_its_release() -> None:
    raw, other = draw_raw(), draw_raw(seed=5)

    def seen(picture: RawPicture) -> bytes:
        grey = cv2.cvtColor(raw_to_view(picture, 8), cv2.COLOR_BGR2GRAY).astype(np.float32)
        return small_view(0.6 * grey + 30.0).astype(np.uint8).tobytes()

    assert check_raw(raw, REQUEST).likeness is None
    assert check_raw(raw, replace(REQUEST, view_when_fired=b"cut")).likeness is None
    same = check_raw(raw, replace(REQUEST, view_when_fired=seen(raw))).likeness
    another = check_raw(raw, replace(REQUEST, view_when_fired=seen(other))).likeness
    assert same is not None
    assert another is not None
    assert same > 0.9
    assert another < 0.4


def test_a_forced_shot_is_kept_as_the_person_saw_it() -> None:
    found = check_raw(
        draw_raw((1.0, 0.0)), CheckRequest(film_format=REQUEST.film_format, film_kind=REQUEST.film_kind, forced=True)
    )
    assert found.passed
    assert registry.FORCED.code in codes(found)


def test_a_smear_along_the_film_is_seen_and_grain_is_not_taken_for_one() -> None:
    slipped, at_rest = (
        replace(REQUEST, offset_when_fired=OffsetMm(-0.1, 0.0)),
        replace(REQUEST, offset_when_fired=OffsetMm(0.0, 0.0)),
    )
    assert registry.MOTION_BLUR.code in codes(check_raw(draw_raw(smear_px=9), slipped))
    assert registry.MOTION_BLUR.code not in codes(check_raw(draw_raw(seed=11), slipped))
    assert codes(check_raw(draw_raw(smear_px=9), at_rest)) == set(), "a subject may have streaks of its own"


def test_without_live_view_a_smear_is_only_thought_of() -> None:
    found = check_raw(draw_raw(smear_px=9), REQUEST)
    assert found.passed
    assert registry.MAYBE_SMEARED.code in codes(found)


@pytest.mark.parametrize(("gain", "code"), [(8.0, registry.CLIPPED), (0.05, registry.UNDEREXPOSED)])
def test_wrong_exposure_is_said(gain: float, code: FindingKind) -> None:
    assert code.code in codes(check_raw(draw_raw(gain=gain), REQUEST))


def test_clear_film_has_no_edges_to_confirm() -> None:
    found = check_raw(draw_raw(frame=False), REQUEST)
    assert registry.EDGES_NOT_CONFIRMED.code in codes(found)
    assert found.passed, "an unexposed frame is a warning, the person decides"


def test_another_size_than_the_rolls_is_said() -> None:
    request = CheckRequest(
        film_format=REQUEST.film_format, film_kind=REQUEST.film_kind, expected_size=SizePx(6000, 4000)
    )
    assert registry.WRONG_SIZE.code in codes(check_raw(draw_raw(), request))


def test_the_picture_that_is_checked_is_not_changed() -> None:
    raw = draw_raw()
    before = raw.mosaic.copy()
    check_raw(raw, REQUEST)
    assert np.array_equal(raw.mosaic, before)


def test_planes_are_linear_and_in_red_green_blue_order() -> None:
    planes = raw_planes(draw_raw(frame=False))
    assert planes.shape == (3, HEIGHT_PX // 2, WIDTH_PX // 2)
    assert planes.mean(axis=(1, 2)) == pytest.approx([0.62, 0.30, 0.14], rel=0.03)
    half = raw_planes(draw_raw(frame=False, gain=0.5))
    assert half.mean(axis=(1, 2)) == pytest.approx(planes.mean(axis=(1, 2)) / 2, rel=0.02)


@pytest.mark.parametrize("reduction", [2, 4, 8])
def test_the_view_is_blue_first_and_as_bright_as_a_live_view(reduction: int) -> None:
    view = raw_to_view(draw_raw(frame=False), reduction)
    assert view.shape == (HEIGHT_PX // reduction, WIDTH_PX // reduction, 3)
    blue, green, red = view.reshape(-1, 3).mean(axis=0)
    assert blue < green < red
    assert 225 <= np.percentile(view, 99.9) <= 250
