"""The drawing holds to its own truth, and to what is known of film."""

from dataclasses import replace

import numpy as np
import pytest

from tests.film_pictures.third_hand import scenes, stand
from tests.film_pictures.third_hand.emulsion import any_stock, density
from tests.film_pictures.third_hand.gate import any_gate
from tests.film_pictures.third_hand.pulls import PulledRoll
from tests.film_pictures.third_hand.setting import any_optics
from tests.film_pictures.third_hand.stills import make_case
from tests.film_pictures.third_hand.strip import Exposure, Strip, raster
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array
from tethercap.profile_files import load_film_format


def grey(_: np.random.Generator, height: int, width: int) -> F32Array:
    return np.full((height, width, 3), 0.18, np.float32)


def strip_of(kind: FilmKind, seed: int = 1) -> Strip:
    rng = np.random.default_rng(seed)
    film_format = load_film_format("135-36x24")
    stock = replace(any_stock(rng, kind), grain=0.0)
    gate = replace(any_gate(rng, film_format, "crisp"), turn_deg=0.0)
    frames = [Exposure(grey, 38.0 * k, 0.0, k + 1) for k in (-1, 0, 1)]
    return Strip(film_format, stock, gate, frames, -80, 80, 0.7, 0.0, edge_print=False)


def test_grey_card_on_colour_negative_has_the_density_that_its_maker_asks_for() -> None:
    """Red channel 0.80 to 1.00 for an 18 % card: Kodak E-7023, status M; ours is a camera's red, so a little wider."""
    card = np.full((1, 1, 3), 0.18, np.float32)
    reds = [
        density(any_stock(np.random.default_rng(seed), FilmKind.COLOUR_NEGATIVE), card)[0, 0, 0] for seed in range(40)
    ]
    assert 0.65 < float(np.mean(reds)) < 1.0


@pytest.mark.parametrize("kind", list(FilmKind))
def test_edges_lie_where_the_gate_says(kind: FilmKind) -> None:
    strip = strip_of(kind)
    piece = raster(strip, -25, 25, 1.0, 40.0)
    corners = strip.corners_mm(1)
    row, along_mm = piece.through[piece.through.shape[0] // 2, :, 1], np.arange(2001) / 40 - 25
    picture, gap = row[np.abs(along_mm) < 15].mean(), row[np.abs(np.abs(along_mm) - 19) < 0.3].mean()
    in_gap = (row - picture) / (gap - picture) > 0.5
    crossings = along_mm[np.flatnonzero(np.diff(in_gap.astype(int)))]
    left, right = crossings[crossings < 0].max(), crossings[crossings > 0].min()
    assert abs(left - corners[[0, 3], 0].mean()) < 0.1
    assert abs(right - corners[[1, 2], 0].mean()) < 0.1


def test_perforations_are_those_of_the_standard() -> None:
    """KS-1870: 4.750 mm apart, 1.981 mm along the film (SMPTE ST 119 scope; encyclopaedia)."""
    strip = strip_of(FilmKind.BW_NEGATIVE)
    piece = raster(strip, -40, 40, 1.0, 50.0)
    row = piece.through[round((-17.4875 + 2.01 + 1.4 - piece.v0_mm) * 50), :, 1] > 0.95
    starts, ends = np.flatnonzero(np.diff(row.astype(int)) == 1), np.flatnonzero(np.diff(row.astype(int)) == -1)
    assert np.diff(starts).mean() / 50 == pytest.approx(4.750, abs=0.01)
    ends = ends[ends > starts[0]]
    assert (ends - starts[: len(ends)]).mean() / 50 == pytest.approx(1.981, abs=0.03)


def test_points_of_the_film_are_found_back_in_the_view() -> None:
    rng = np.random.default_rng(3)
    optics = any_optics(rng, load_film_format("120-6x7"), ("keystone", "distortion"), 1.0)
    pose = stand.Pose(1.5, -0.7, 2.0)
    film = rng.uniform(-30, 30, (50, 2))
    px = stand.to_view(optics, pose, film)
    back = np.stack(stand.to_film(optics, pose, *stand.to_table(optics, px[:, 0], px[:, 1])), axis=1)
    np.testing.assert_allclose(back, film, atol=1e-6)


def test_seed_and_tier_decide_everything() -> None:
    one, two = make_case(4, "typical"), make_case(4, "typical")
    assert np.array_equal(one.picture, two.picture)
    assert one.tier == "typical" and one.corners_px is not None
    assert not np.array_equal(one.picture, make_case(5, "typical").picture)


def test_photographs_come_with_the_library() -> None:
    for seed in range(12):
        assert scenes.photograph(np.random.default_rng(seed), 40, 60).shape == (40, 60, 3)


def test_a_rest_in_limits_is_still_and_a_picture_comes_for_it() -> None:
    roll = PulledRoll(11, "none")
    assert len(roll.stays) >= 3
    for stay in roll.stays:
        place = roll.place_at(stay.to_s - 0.05)
        assert place.frame == stay.frame
        assert abs(place.x_mm) < 1 and place.speed_mm_s < 0.5
    shown = [next(iter(roll.shown())) for _ in range(2)]
    assert np.array_equal(shown[0].picture, shown[1].picture)


def test_what_the_holder_covers_cannot_be_seen() -> None:
    """The frame is larger than the opening, and where the opening ends it is not the frame that does."""
    case = make_case(1_420_016, "impossible")
    assert "covered" in case.hazards
    assert max(case.seen_share) == 0
    assert case.tier == "impossible"
