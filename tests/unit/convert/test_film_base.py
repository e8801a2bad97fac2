import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, Shot, colour_patches, raw_of, shoot
from tethercap.convert.cells import measure_cells, shows_film
from tethercap.convert.film_base import FilmBase, combine_bases, estimate_base, find_base, measure_base
from tethercap.convert.flat_field import FlatField
from tethercap.convert.roll_look import FrameSurvey, bases_along_roll, frames_that_agree, survey_frame
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture, ShotData

NEGATIVE = FilmKind.COLOUR_NEGATIVE


def film() -> Shot:
    """A frame large enough in the picture for its rebate to be seen, as a camera's picture is."""
    return shoot(colour_patches(side=240), rim_px=110)


def test_the_rebate_is_measured() -> None:
    shot = film()
    base = measure_base(shot.raw, measure_cells(shot.raw), shot.corners, NEGATIVE)
    assert base is not None
    np.testing.assert_allclose(base.counts_rgb, BASE_COUNTS, rtol=0.01)
    assert base.measured
    assert base.how == "rebate"


def disturbed(kind: str) -> tuple[RawPicture, QuadPx]:
    """The same film with bare light, a dark holder, a light leak or edge print where rebate should be."""
    shot = film()
    height, width = shot.raw.mosaic.shape
    counts = np.repeat((shot.raw.mosaic.astype(np.float64) - 512)[..., None], 3, axis=2)
    bare = np.array([1 / 1.9, 1.0, 1 / 1.5]) * 15000
    if kind == "perforations":
        for left in range(20, width - 60, 120):
            counts[8:60, left : left + 60] = bare
            counts[height - 60 : height - 8, left : left + 60] = bare
    elif kind == "holder":
        counts[:, :40] = 5.0
        counts[height - 50 :] = 5.0
    elif kind == "light leak":
        counts[: height // 2, :90] *= 10.0**-0.5
    elif kind == "edge print":
        counts[height - 40 : height - 10, 100:300] *= 10.0**-0.9
    return raw_of(counts), shot.corners


@pytest.mark.parametrize("kind", ["perforations", "holder", "light leak", "edge print"])
def test_what_is_not_clear_film_is_not_measured(kind: str) -> None:
    raw, corners = disturbed(kind)
    base = measure_base(raw, measure_cells(raw), corners, NEGATIVE)
    assert base is not None
    np.testing.assert_allclose(base.counts_rgb, BASE_COUNTS, rtol=0.03)


def test_without_corners_the_brightest_film_is_taken_and_said_so() -> None:
    raw, _ = disturbed("perforations")
    base = measure_base(raw, measure_cells(raw), None, NEGATIVE)
    assert base is not None
    assert base.how == "brightest film"
    np.testing.assert_allclose(base.counts_rgb, BASE_COUNTS, rtol=0.03)


def test_a_frame_without_any_rebate_gives_an_estimate_that_says_so() -> None:
    shot = film()
    cut = raw_of(np.repeat((shot.raw.mosaic[110:-110, 110:-110].astype(np.float64) - 512)[..., None], 3, axis=2))
    estimate = estimate_base(cut, measure_cells(cut), NEGATIVE, (0.25, 0.65, 0.95))
    assert not estimate.measured
    assert np.all(np.array(estimate.counts_rgb) <= BASE_COUNTS * 1.02)


def in_holder(rim_px: int, stray: float = 5.0) -> Shot:
    """The film with a rim of rebate around the frame, and a black holder around that, with some stray light on it."""
    shot = film()
    counts = np.full((*shot.raw.mosaic.shape, 3), stray)
    shown = slice(110 - rim_px, rim_px - 110)
    counts[shown, shown] = np.repeat((shot.raw.mosaic[shown, shown].astype(np.float64) - 512)[..., None], 3, axis=2)
    return dataclasses.replace(shot, raw=raw_of(counts))


@pytest.mark.parametrize("rim_px", [32, 90])
def test_a_narrow_rebate_is_looked_at_closer(rim_px: int) -> None:
    shot = in_holder(rim_px)
    base = find_base(shot.raw, measure_cells(shot.raw), shot.corners, NEGATIVE, None)
    assert base is not None
    assert base.how == "rebate"
    np.testing.assert_allclose(base.counts_rgb, BASE_COUNTS, rtol=0.01)


def test_a_frame_of_a_roll_that_shows_no_rebate_tells_its_clearest_film() -> None:
    shot = in_holder(0)
    assert find_base(shot.raw, measure_cells(shot.raw), shot.corners, NEGATIVE, None) is None
    survey = survey_frame(shot.raw, NEGATIVE, shot.corners)
    assert survey.base is not None
    assert survey.base.how == "brightest film"


def test_stray_light_on_the_holder_is_no_film() -> None:
    shot = in_holder(0, stray=200.0)
    assert find_base(shot.raw, measure_cells(shot.raw), shot.corners, NEGATIVE, None) is None


def surveyed(base: FilmBase) -> FrameSurvey:
    return FrameSurvey(base, np.zeros((1, 1, 3), np.float32), None)


def test_frames_that_were_copied_at_other_exposures_keep_their_own_level() -> None:
    levels = (1.0, 1.5, 0.7, 1.0, 1.0)
    bases = [FilmBase((9000.0 * level, 6000.0 * level, 2600.0 * level), cells=10) for level in levels]
    found = bases_along_roll([surveyed(base) for base in bases])
    assert found is not None
    for base, level in zip(found, levels, strict=True):
        np.testing.assert_allclose(base.counts_rgb, BASE_COUNTS * level, rtol=0.01)


@pytest.mark.parametrize(
    "other", [FilmBase((9000.0, 4500.0, 1600.0)), FilmBase((4500.0, 3000.0, 1300.0), camera_exposure=0.01)]
)
def test_a_frame_whose_base_is_otherwise_gets_the_rolls(other: FilmBase) -> None:
    usual = FilmBase((9000.0, 6000.0, 2600.0), camera_exposure=other.camera_exposure)
    found = bases_along_roll([surveyed(usual), surveyed(usual), surveyed(other), surveyed(usual)])
    assert found is not None
    np.testing.assert_allclose(found[2].counts_rgb, BASE_COUNTS, rtol=0.01)


def test_a_holder_around_a_frame_that_was_not_found_is_left_out() -> None:
    survey = survey_frame(in_holder(32).raw, NEGATIVE, None)
    assert np.isnan(survey.counts[0, 0]).all()
    assert np.isfinite(survey.counts).all(axis=2).mean() > 0.5


def test_a_slide_has_no_clear_rebate() -> None:
    shot = film()
    assert measure_base(shot.raw, measure_cells(shot.raw), shot.corners, FilmKind.SLIDE) is None


def test_the_rolls_base_is_the_middle_and_strangers_are_left_out() -> None:
    bases = [FilmBase((9000.0 + k, 6000.0, 2600.0), cells=10) for k in range(-20, 25, 10)]
    stranger = FilmBase((4000.0, 3000.0, 1000.0), cells=10)
    together = combine_bases([*bases, stranger])
    np.testing.assert_allclose(together.counts_rgb, [9000.0, 6000.0, 2600.0], rtol=0.002)


def test_the_base_follows_the_copying_exposure() -> None:
    base = FilmBase((9000.0, 6000.0, 2600.0), camera_exposure=100 / 30 / 64)
    half = base.for_shot(ShotData(exposure_s=1 / 60, f_number=8.0, iso=100))
    np.testing.assert_allclose(half.counts_rgb, [4500.0, 3000.0, 1300.0])
    assert base.for_shot(ShotData()) == base


def test_a_sliver_of_rebate_along_one_side_is_the_base() -> None:
    shot = film()
    counts = np.repeat((shot.raw.mosaic[110:-110, 94:-110].astype(np.float64) - 512)[..., None], 3, axis=2)
    raw = raw_of(counts * np.where(np.arange(counts.shape[1]) < 16, 1.0, 0.8)[None, :, None])
    base = measure_base(raw, measure_cells(raw), None, NEGATIVE)
    assert base is not None
    np.testing.assert_allclose(base.counts_rgb, BASE_COUNTS, rtol=0.02)


@pytest.mark.parametrize(("exposed", "is_film"), [(1.0, True), (1.6, False)])
def test_a_base_as_neutral_as_the_light_is_told_from_it_by_how_bright_it_is(exposed: float, is_film: bool) -> None:
    shot = ShotData(exposure_s=1 / 30, f_number=8.0, iso=100)
    light = np.array([12000.0, 9000.0, 5000.0])
    flat = FlatField(np.zeros((16, 16, 3), np.float32), (512, 512), light, shot)
    raw = dataclasses.replace(raw_of(np.broadcast_to(light * 0.55 * exposed, (512, 512, 3))), shot=shot)
    assert (measure_base(raw, measure_cells(raw, flat), None, NEGATIVE, flat) is not None) is is_film


def test_the_rolls_base_is_the_clearest_that_frames_agree_on() -> None:
    clear, wrong = (9000.0, 6000.0, 2600.0), [(7000.0 - 900 * k, 4600.0 - 700 * k, 1900.0 - 300 * k) for k in range(4)]
    found = bases_along_roll([surveyed(FilmBase(counts, camera_exposure=0.05)) for counts in [*wrong, clear, clear]])
    assert found is not None
    np.testing.assert_allclose(found[0].counts_rgb, clear, rtol=0.01)


@pytest.mark.parametrize(("rebates", "is_rebate"), [(1, False), (4, True)])
def test_lines_around_charts_are_no_rebate_where_more_pictures_show_clearer_film(rebates: int, is_rebate: bool) -> None:
    red, green, blue = 0.9 * BASE_COUNTS
    beside = [FilmBase((red * 0.7**k, green * 0.7**k, blue * 0.7**k)) for k in (0, 1)] + [
        FilmBase((red, green, blue))
    ] * (rebates - 1)
    clear = [FilmBase((9000.0, 6000.0, 2600.0), how="brightest film")] * 2
    bare = FilmBase((18000.0, 21000.0, 22000.0), how="brightest film")
    found = bases_along_roll([surveyed(base) for base in [*beside, *clear, *([bare] if is_rebate else [])]])
    assert found is not None
    level = 0.9 if is_rebate else 1.0
    np.testing.assert_allclose(found[0].counts_rgb, level * BASE_COUNTS, rtol=0.01)
    assert found[0].how == ("rebate" if is_rebate else "brightest film")
    # No picture is copied darker by a line that is no rebate.
    np.testing.assert_allclose(found[1].counts_rgb, (0.63 if is_rebate else 1.0) * BASE_COUNTS, rtol=0.01)


@pytest.mark.parametrize("how", ["rebate", "brightest film"])
def test_frames_get_the_base_at_their_own_camera_exposure(how: str) -> None:
    bases = [FilmBase((9000.0 * k, 6000.0 * k, 2600.0 * k), camera_exposure=0.05 * k, how=how) for k in (1.0, 2.0)]
    surveys = [FrameSurvey(base, np.zeros((1, 1, 3), np.float32), None, base.camera_exposure) for base in bases]
    found = bases_along_roll(surveys)
    assert found is not None
    for base, own in zip(found, bases, strict=True):
        np.testing.assert_allclose(base.counts_rgb, own.counts_rgb, rtol=0.01)


def quad(width_px: float, height_px: float) -> QuadPx:
    return QuadPx.from_array(50 + np.array([[0, 0], [width_px, 0], [width_px, height_px], [0, height_px]], np.float64))


def test_what_is_no_frame_beside_the_others_is_told() -> None:
    frames = [quad(1500, 1000), quad(700, 690), None, quad(1000, 1505), quad(1490, 1004)]
    assert frames_that_agree(frames) == [True, False, False, True, True]
    assert frames_that_agree([quad(1500, 1000), quad(700, 690), quad(900, 300), None]) == [False] * 4
    assert frames_that_agree([quad(1500, 1000), quad(700, 690)]) == [True, True]


def test_a_holder_is_left_out_though_stray_light_lies_on_it() -> None:
    survey = survey_frame(in_holder(0, stray=80.0).raw, NEGATIVE, None)
    assert np.isnan(survey.counts[:6]).all()
    assert np.isfinite(survey.counts[8:-8, 8:-8]).mean() > 0.95


def test_a_black_picture_shows_no_film() -> None:
    raw = raw_of(np.zeros((320, 480, 3)))
    assert not shows_film(measure_cells(raw), raw.white).any()
