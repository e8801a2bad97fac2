"""Dust is told from what is on the film, painted over without a trace, and told on the rig by staying where it is."""

from functools import cache

import cv2
import numpy as np
import pytest

from tests.dust.pictures import DustyFrame, dusty_frame, log_light
from tests.dust.score import score_frame
from tests.unit.convert.film_shots import raw_of
from tethercap.convert.dust import find_dust
from tethercap.convert.dust_repair import STILL_LIMITS, repair, still_dust
from tethercap.pictures import F64Array, RawPicture

MM_PER_PX = 0.014


@cache
def portrait() -> DustyFrame:
    return dusty_frame("portrait", width_px=2100, amount=10.0)


def test_most_dust_in_a_quiet_picture_is_found_and_next_to_nothing_else() -> None:
    score = score_frame(portrait())
    assert score.seen >= 10
    assert score.found >= 0.7 * score.seen
    assert score.false <= 1
    assert score.false_on_clean <= 1


def test_repairs_come_near_to_the_grain() -> None:
    score = score_frame(portrait())
    assert score.error_before > 0.2
    assert score.error_after < 0.03


def film(seed: int = 1, size: tuple[int, int] = (600, 900)) -> F64Array:
    """Counts of a soft grey picture with grain, shape (height, width, 3)."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0 : size[0], 0 : size[1]]
    density = 0.6 + 0.3 * np.sin(x / 150 + seed) * np.cos(y / 110)
    density = density + cv2.GaussianBlur(random.normal(0, 0.06, size), (0, 0), 1.2)
    return np.asarray(np.repeat((9000 * 10.0**-density)[..., None], 3, axis=2))


def with_speck(counts: F64Array, x: int, y: int, radius: int, passes: float = 0.15) -> F64Array:
    shade = np.zeros(counts.shape[:2], np.uint8)
    cv2.circle(shade, (x, y), radius, 255, cv2.FILLED, cv2.LINE_AA)
    return np.asarray(counts * (1 - (1 - passes) * shade[..., None] / 255.0))


def shot(counts: F64Array) -> RawPicture:
    return raw_of(counts)


def test_a_speck_is_found_where_it_is() -> None:
    mask = find_dust(shot(with_speck(film(), 400, 300, 5)), None, MM_PER_PX)
    assert mask.specks == 1
    rows, columns = np.nonzero(mask.cells)
    assert (columns.mean() * 2, rows.mean() * 2) == (pytest.approx(400, abs=2), pytest.approx(300, abs=2))


def test_clean_film_has_no_dust() -> None:
    assert find_dust(shot(film()), None, MM_PER_PX).specks == 0


def test_bright_specks_large_spots_and_crowds_are_the_pictures_own() -> None:
    assert find_dust(shot(with_speck(film(), 400, 300, 5, passes=3.0)), None, MM_PER_PX).specks == 0
    assert find_dust(shot(with_speck(film(), 400, 300, 30)), None, MM_PER_PX).specks == 0
    stars = film()
    for x, y in np.random.default_rng(4).integers(40, 560, (60, 2)):
        stars = with_speck(stars, int(x), int(y), 4)
    mask = find_dust(shot(stars), None, MM_PER_PX)
    assert mask.specks <= 3
    assert mask.left_alone >= 40


def test_away_from_dust_nothing_is_changed() -> None:
    raw = shot(with_speck(film(), 400, 300, 5))
    mask = find_dust(raw, None, MM_PER_PX)
    before = raw.mosaic.copy()
    mended = repair(raw, mask.cells)
    np.testing.assert_array_equal(raw.mosaic, before)
    changed = np.argwhere(mended.mosaic != before)
    assert len(changed) > 50
    assert np.abs(changed - [300, 400]).max() < 14
    clean = log_light(shot(film()))
    at = (slice(146, 154), slice(196, 204))
    assert np.abs((log_light(mended) - clean)[at]).mean() < 0.05


def test_dust_on_the_rig_is_what_stays_while_film_moves_on() -> None:
    masks = []
    for seed in range(6):
        counts = with_speck(film(seed), 700, 200, 5, passes=0.7)  # faint, always there
        counts = with_speck(counts, 100 + 120 * seed, 450, 5)  # on the film, elsewhere each time
        masks.append(find_dust(shot(counts), None, MM_PER_PX, STILL_LIMITS).cells)
    still = still_dust(masks, 6)
    assert still is not None
    number, _, _, centres = cv2.connectedComponentsWithStats(still)
    assert number == 2
    np.testing.assert_allclose(centres[1] * 2, (700, 200), atol=3)


def test_three_frames_cannot_tell() -> None:
    assert still_dust([np.ones((4, 4), np.uint8)] * 3, 3) is None
