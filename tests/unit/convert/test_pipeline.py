"""The chain as a whole: a scene laid on film and copied comes back as the scene."""

import dataclasses
from collections.abc import Callable, Iterable

import numpy as np
import pytest

from tests.unit.convert.film_shots import PLAIN, Shot, colour_patches, grey_wedge, raw_of, shoot
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.pipeline import RollLook, plan_conversion
from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.convert.render import RunBands, convert, one_after_another, render_for_screen
from tethercap.convert.spaces import SPACES
from tethercap.errors import ConversionError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import ColourSpace, F64Array, Positive

NEGATIVE = FilmKind.COLOUR_NEGATIVE
BASE = FilmBase((9000.0, 6000.0, 2600.0))
SIDE, RIM = 80, 60
WHOLE = Recipe(border=Border.WHOLE, black_point=0.0)


def linear(positive: Positive) -> F64Array:
    return SPACES[positive.colour_space].curve.decode(positive.pixels_rgb / 65535.0)


def positive_of(shot: Shot, recipe: Recipe = WHOLE, *, run_bands: RunBands = one_after_another) -> Positive:
    look = RollLook(model=PLAIN)
    made = convert(
        shot.raw, recipe, base=BASE, corners=shot.corners, film_kind=NEGATIVE, look=look, run_bands=run_bands
    )
    return made.positive


def inside(picture: F64Array, rim_px: int) -> F64Array:
    return picture[rim_px:-rim_px, rim_px:-rim_px]


@pytest.fixture(scope="module")
def patches() -> Shot:
    return shoot(colour_patches(side=SIDE), rim_px=RIM)


def test_the_scene_comes_back(patches: Shot) -> None:
    got = inside(linear(positive_of(patches)), RIM)
    # How bright a print is made is tested elsewhere; here all patches must fit one brightness.
    got *= 0.9 / got[20:60, 20:60].mean()
    for row in range(4):
        for column in range(6):
            middle = (slice(row * SIDE + 20, row * SIDE + 60), slice(column * SIDE + 20, column * SIDE + 60))
            wanted = patches.scene[middle].mean(axis=(0, 1))
            np.testing.assert_allclose(got[middle].mean(axis=(0, 1)), wanted, rtol=0.09, atol=0.003)


def test_greys_come_back_grey() -> None:
    shot = shoot(grey_wedge(320, 480), rim_px=RIM)
    got = inside(linear(positive_of(shot)), RIM)[40:-40]
    rows = got.mean(axis=0)[shot.scene[0, :, 0] > 0.03][:-8]
    assert np.abs(rows[:, 0] / rows[:, 1] - 1).max() < 0.03
    assert np.abs(rows[:, 2] / rows[:, 1] - 1).max() < 0.03


@pytest.mark.parametrize("pattern", [(2, 1, 1, 0), (1, 0, 2, 1)])
def test_every_mosaic_gives_the_same_picture(patches: Shot, pattern: tuple[int, int, int, int]) -> None:
    other = shoot(patches.scene, rim_px=RIM, pattern=pattern)
    difference = np.abs(linear(positive_of(other)) - linear(positive_of(patches)))
    # Away from the edges of patches, where each mosaic has its own colours.
    assert np.percentile(difference, 70) < 0.003


@pytest.mark.parametrize("half_size", [False, True])
@pytest.mark.parametrize(("border", "turn"), [(Border.WHOLE, Turn.NONE), (Border.FRAME, Turn.QUARTER)])
def test_a_screen_is_shown_the_positive(patches: Shot, border: Border, turn: Turn, *, half_size: bool) -> None:
    recipe = Recipe(border=border, turn=turn, half_size=half_size)
    plan = plan_conversion(
        patches.raw, recipe, corners=patches.corners, film_kind=NEGATIVE, look=RollLook(base=BASE, model=PLAIN)
    )
    shown = render_for_screen(plan, patches.raw, None)[..., ::-1].astype(float)
    away = np.abs(shown - positive_of(patches, recipe).pixels_rgb / 257.0)
    # Where nothing is squared they differ by rounding, else at edges, by the kind of interpolation.
    assert np.percentile(away, 100 if border is Border.WHOLE else 80) <= 0.51


def test_bands_may_be_worked_in_any_order(patches: Shot) -> None:
    def backwards(work: Callable[[tuple[int, int]], None], bands: Iterable[tuple[int, int]]) -> None:
        one_after_another(work, reversed(list(bands)))

    np.testing.assert_array_equal(positive_of(patches).pixels_rgb, positive_of(patches, run_bands=backwards).pixels_rgb)


def test_the_same_input_gives_the_same_pixels(patches: Shot) -> None:
    np.testing.assert_array_equal(positive_of(patches).pixels_rgb, positive_of(patches).pixels_rgb)


def test_the_raw_is_not_touched(patches: Shot) -> None:
    before = patches.raw.mosaic.copy()
    positive_of(patches)
    np.testing.assert_array_equal(patches.raw.mosaic, before)


def test_half_size_is_the_whole_made_smaller(patches: Shot) -> None:
    whole = linear(positive_of(patches))
    half = linear(positive_of(patches, dataclasses.replace(WHOLE, half_size=True)))
    small = whole.reshape(whole.shape[0] // 2, 2, whole.shape[1] // 2, 2, 3).mean(axis=(1, 3))
    assert half.shape == small.shape
    assert np.percentile(np.abs(half - small), 90) < 0.004


def test_the_frame_is_cut_out(patches: Shot) -> None:
    cut = positive_of(patches, Recipe(black_point=0.0))
    height, width = cut.pixels_rgb.shape[:2]
    assert (width, height) == pytest.approx((6 * SIDE * (1 - 0.24 / 36), 4 * SIDE * (1 - 0.24 / 24)), abs=2)
    assert linear(cut).min() > 0.0


def test_the_flat_field_takes_the_rigs_unevenness_out(patches: Shot) -> None:
    height, width = patches.raw.mosaic.shape
    y, x = np.mgrid[0:height, 0:width]
    falloff = 1.0 - 0.35 * (np.hypot(x - width / 2, y - height / 2) / (width / 2)) ** 2 / 2
    uneven = shoot(patches.scene, rim_px=RIM, falloff=falloff)
    flat = measure_flat_field(raw_of(falloff[..., None] * np.array([14000.0, 13000.0, 11000.0])))
    look = RollLook(model=PLAIN, flat=flat)
    flattened = convert(uneven.raw, WHOLE, base=BASE, corners=uneven.corners, film_kind=NEGATIVE, look=look)
    difference = np.abs(inside(linear(flattened.positive), RIM) - inside(linear(positive_of(patches)), RIM))
    assert np.percentile(difference, 95) < 0.01
    without = np.abs(inside(linear(positive_of(uneven)), RIM) - inside(linear(positive_of(patches)), RIM))
    assert np.percentile(without, 95) > 0.05


@pytest.mark.parametrize("space", list(ColourSpace))
def test_spaces_hold_the_same_colours(patches: Shot, space: ColourSpace) -> None:
    from tethercap.convert.spaces import rgb_to_pcs

    srgb = linear(positive_of(patches)) @ rgb_to_pcs(ColourSpace.SRGB).T
    other = linear(positive_of(patches, dataclasses.replace(WHOLE, space=space))) @ rgb_to_pcs(space).T
    assert np.percentile(np.abs(other - srgb), 90) < 0.02


def test_every_step_is_told_with_its_parameters() -> None:
    patches = shoot(colour_patches(side=240), rim_px=110)
    made = convert(patches.raw, WHOLE, base=None, corners=patches.corners, film_kind=NEGATIVE)
    names = [name for name, _ in made.steps]
    assert names == [
        "black-and-white-level",
        "flat-field",
        "density-over-base",
        "equalise",
        "demosaic",
        "density-matrix",
        "light-matrix",
        "print-exposure",
        "print-tone",
        "square-and-crop",
        "encode",
    ]
    assert made.base_used.how == "rebate"
    assert made.warnings == ()


def test_an_estimated_base_is_said_so(patches: Shot) -> None:
    flatless = raw_of(np.random.default_rng(1).uniform(50, 9000, (400, 600, 3)))
    made = convert(flatless, WHOLE, base=None, corners=None, film_kind=NEGATIVE)
    assert not made.base_used.measured
    assert "estimated" in made.warnings[0]


def test_black_and_white_has_no_colour(patches: Shot) -> None:
    made = convert(patches.raw, WHOLE, base=None, corners=patches.corners, film_kind=FilmKind.BW_NEGATIVE)
    pixels = made.positive.pixels_rgb.astype(int)
    assert np.abs(pixels - pixels[..., [1]]).max() == 0


EYE = FilmModel(film_kind=FilmKind.SLIDE)
"""A camera that sees as the output space does."""


def test_a_slide_is_shown_as_it_is() -> None:
    scene = colour_patches(side=160)
    neutral = np.array([1.9, 1.0, 1.5])
    raw = raw_of(scene * 14000.0 / neutral)
    low, right, bottom = -0.5, scene.shape[1] - 0.5, scene.shape[0] - 0.5
    corners = QuadPx.from_array([[low, low], [right, low], [right, bottom], [low, bottom]])
    made = convert(raw, WHOLE, base=None, corners=corners, film_kind=FilmKind.SLIDE, look=RollLook(model=EYE))
    got = linear(made.positive)
    gain = got[80, 80] / scene[80, 80]
    np.testing.assert_allclose(gain / gain[1], 1.0, atol=0.03)
    dark = scene < 0.5
    np.testing.assert_allclose(np.median(got[dark] / scene[dark]), gain[1], rtol=0.08)


def test_with_the_light_known_a_slide_keeps_its_own_brightness() -> None:
    light = np.array([7000.0, 14000.0, 9500.0])
    transmittance = 0.7 * colour_patches(side=160)
    flat = measure_flat_field(raw_of(np.broadcast_to(light, transmittance.shape)))
    raw = raw_of(transmittance * light)
    look = RollLook(flat=flat, model=EYE)
    made = convert(raw, WHOLE, base=None, corners=None, film_kind=FilmKind.SLIDE, look=look)
    got = linear(made.positive)
    for row, column in ((0, 0), (1, 2), (3, 5)):
        middle = (slice(row * 160 + 40, row * 160 + 120), slice(column * 160 + 40, column * 160 + 120))
        np.testing.assert_allclose(got[middle].mean(axis=(0, 1)), transmittance[middle].mean(axis=(0, 1)), rtol=0.02)


def test_nothing_is_measured_on_a_frame_whose_look_is_known(patches: Shot, monkeypatch: pytest.MonkeyPatch) -> None:
    own = plan_conversion(
        patches.raw, WHOLE, corners=patches.corners, film_kind=NEGATIVE, look=RollLook(base=BASE, model=PLAIN)
    )
    measured = positive_of(patches)

    def measure(*_: object) -> None:
        pytest.fail("the frame was measured")

    monkeypatch.setattr("tethercap.convert.pipeline.measure_cells", measure)
    look = RollLook(base=BASE, model=PLAIN, exposure=own.exposure)
    known = convert(patches.raw, WHOLE, base=None, corners=patches.corners, film_kind=NEGATIVE, look=look)
    np.testing.assert_array_equal(known.positive.pixels_rgb, measured.pixels_rgb)
    aside = QuadPx.from_array(patches.corners.as_array() - (9000, 0))
    with pytest.raises(ConversionError, match="outside the picture"):
        convert(patches.raw, WHOLE, base=None, corners=aside, film_kind=NEGATIVE, look=look)
