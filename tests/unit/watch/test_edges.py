from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from tests.unit.watch.pictures import FORMAT, GAMMA, LIGHT_OF_CODE, ORANGE, PX_PER_MM, SIZE, corners_at, film
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import load_film_format, load_film_formats
from tethercap.watch.confidence import is_believable, is_seen
from tethercap.watch.edges import NotSeen, find_frame_edges, fit_likely
from tethercap.watch.fitting import fit_place, without_rows_of_holes
from tethercap.watch.limits import Limits
from tethercap.watch.reduced import reduce_view
from tethercap.watch.refine import refine_sides
from tethercap.watch.search import search
from tethercap.watch.sighting import FrameEdges, Side
from tethercap.watch.survey import Scale, survey
from tethercap.watch.within import likely_negative, likely_slide

NEGATIVE = FilmKind.COLOUR_NEGATIVE


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "tilt_deg"),
    [(0.0, 0.0, 0.0), (1.3, -0.6, 0.0), (-0.4, 0.3, 0.8), (0.2, 0.1, -2.5), (2.0, 0.5, 4.0)],
    ids=["centred", "shifted", "turned a little", "turned back", "turned far"],
)
def test_corners_within_a_fifth_of_a_pixel_each(x_mm: float, y_mm: float, tilt_deg: float) -> None:
    found = find_frame_edges(
        film(x_mm, y_mm, tilt_deg), film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1.005 / PX_PER_MM
    )
    assert isinstance(found, FrameEdges)
    away = np.hypot(*(found.corners.as_array() - corners_at(x_mm, y_mm, tilt_deg)).T)
    assert away.max() < 0.4
    assert np.median(away) < 0.3
    assert found.confidence > 0.9


@pytest.mark.parametrize("blur_px", [3.0, 6.0])
def test_out_of_focus_an_edge_lies_where_half_of_the_light_is(blur_px: float) -> None:
    light = cv2.GaussianBlur(LIGHT_OF_CODE[film(0.4, 0.2, over=1)], (0, 0), blur_px)
    picture = np.rint(255 * light ** (1 / GAMMA)).astype(np.uint8)
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    away = np.hypot(*(found.corners.as_array() - corners_at(0.4, 0.2)).T)
    assert away.max() < 0.35 * blur_px
    assert found.confidence > 0.5


@pytest.mark.parametrize("pitch_mm", [36.0, 35.1], ids=["touching", "overlapping"])
def test_frames_without_a_gap_are_told_apart(pitch_mm: float) -> None:
    """Of the two edges of an overlap the frame's own is the outer one."""
    picture = film(0.4, 0.2, 0.6, pitch_mm=pitch_mm, cell_mm=4)
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    away = np.hypot(*(found.corners.as_array() - corners_at(0.4, 0.2, 0.6)).T)
    assert away.max() < 1.5
    assert found.confidence > 0.5


def test_a_slide_is_seen_the_other_way_round() -> None:
    found = find_frame_edges(film(slide=True), film_format=FORMAT, film_kind=FilmKind.SLIDE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.abs(found.corners.as_array() - corners_at()).max() < 0.5


@pytest.mark.parametrize(("slide", "kind"), [(False, FilmKind.COLOUR_NEGATIVE), (True, FilmKind.SLIDE)])
def test_kind_format_and_scale_are_found_out(slide: bool, kind: FilmKind) -> None:
    found = find_frame_edges(film(slide=slide), film_format=None, formats=load_film_formats())
    assert isinstance(found, FrameEdges)
    assert found.film_kind is kind
    assert found.format_id == "135-36x24"
    assert found.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.005)


def test_the_input_is_left_alone() -> None:
    picture = film()
    before = picture.copy()
    find_frame_edges(picture, film_format=FORMAT)
    assert np.array_equal(picture, before)


@pytest.mark.parametrize(
    "tone", [(255, 255, 255), ORANGE, (0, 0, 0), (40, 40, 40)], ids=["bare light", "clear film", "dark", "fogged"]
)
def test_nothing_to_see_is_never_answered(tone: tuple[int, int, int]) -> None:
    rng = np.random.default_rng(1)
    picture = np.clip(np.full((SIZE[1], SIZE[0], 3), tone) + rng.normal(0, 1.5, (SIZE[1], SIZE[0], 3)), 0, 255)
    found = find_frame_edges(picture.astype(np.uint8), film_format=FORMAT, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, NotSeen)
    assert found.reasons


def test_edges_are_seen_where_a_light_leak_darkens_the_base_beside_them() -> None:
    x, y = np.arange(SIZE[0]) / SIZE[0], np.arange(SIZE[1])[:, None] / SIZE[1]
    leak = np.exp(-(((x - 0.6) / 0.25) ** 2)) * np.exp(-y / 0.5)
    picture = np.rint(film(0.4, 0.2) * (1 - 0.6 * leak[..., None])).astype(np.uint8)
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.hypot(*(found.corners.as_array() - corners_at(0.4, 0.2)).T).max() < 0.8
    assert all(edge.seen_fraction > 0.8 for edge in found.evidence)
    assert found.confidence > 0.9


def test_a_holder_opening_is_not_a_frame() -> None:
    picture = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    x0, y0, x1, y1 = 52, 38, 628, 422
    picture[y0:y1, x0:x1] = film()[y0:y1, x0:x1] // 2 + 30
    inside = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1.1 / PX_PER_MM)
    assert isinstance(inside, NotSeen) or inside.confidence < 0.4


def test_hidden_edge_is_placed_by_size_and_said_to_be_inferred() -> None:
    picture = film(1.0)
    right = int(corners_at(1.0)[1, 0])
    picture[:, right - 6 :] = 2
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    inferred = {evidence.side for evidence in found.evidence if evidence.inferred}
    assert inferred == {Side.RIGHT}
    assert np.abs(found.corners.as_array() - corners_at(1.0)).max() < 1.0


@pytest.mark.parametrize("hidden", [Side.TOP, Side.BOTTOM])
@pytest.mark.parametrize("cell_mm", [4, 12], ids=["some detail", "smooth"])
def test_short_edges_tell_the_scale_where_the_holder_hides_a_long_one(hidden: Side, cell_mm: int) -> None:
    # Perforations are hidden too: nothing else would tell it.
    picture = film(1.0, 0.4, 0.3, cell_mm=cell_mm)
    (_, top), (_, bottom) = corners_at(1.0, 0.4, 0.3)[[0, 2]].astype(int)
    picture[: top + (9 if hidden is Side.TOP else -8)] = 2
    picture[bottom + (-9 if hidden is Side.BOTTOM else 8) :] = 2
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE)
    assert isinstance(found, FrameEdges)
    assert {evidence.side for evidence in found.evidence if evidence.inferred} == {hidden}
    assert np.abs(found.corners.as_array() - corners_at(1.0, 0.4, 0.3)).max() < 1.5
    assert found.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.002)
    assert found.confidence > 0.75


def test_film_that_lies_upright_is_found_too() -> None:
    picture = np.rot90(film(1.3, -0.6), -1)
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert found.upright
    corners = corners_at(1.3, -0.6)
    turned = np.column_stack([SIZE[1] - 1 - corners[:, 1], corners[:, 0]])[[3, 0, 1, 2]]
    assert np.abs(found.corners.as_array() - turned).max() < 0.5


@pytest.mark.parametrize("slope", [0.07, -0.05])
def test_slanting_stripes_in_the_picture_do_not_turn_the_frame(slope: float) -> None:
    picture = film(0.4, 0.2)
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    x0, y0, x1, y1 = np.rint(corners_at(0.4, 0.2)[[0, 2]]).astype(int).ravel()
    inside = (x > x0) & (x < x1) & (y > y0) & (y < y1)
    picture[inside & (np.floor((y - slope * x) / 18) % 2 == 0)] //= 2
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.abs(found.corners.as_array() - corners_at(0.4, 0.2)).max() < 1.0


def test_the_end_of_the_film_is_no_edge_of_a_frame() -> None:
    """Right of the frame the film ends, and bare light begins; the frame's own edge is clear."""
    picture = film(-6.0)
    end = int(corners_at(-6.0)[1, 0] + 3 * PX_PER_MM)
    picture[:, end:] = 255
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.abs(found.corners.as_array()[1:3] - corners_at(-6.0)[1:3]).max() < 0.6


@pytest.mark.parametrize("shape", [(10, 10), (10, 10, 4)])
def test_refuses_what_is_no_colour_picture(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="shape"):
        find_frame_edges(np.zeros(shape, np.uint8), film_format=FORMAT)


def test_refuses_to_look_for_no_format() -> None:
    with pytest.raises(ValueError, match="format"):
        find_frame_edges(film(), film_format=None)


@pytest.mark.parametrize("size", [(8, 8), (40, 60), (3, 500)])
def test_tiny_pictures_are_not_answered(size: tuple[int, int]) -> None:
    assert isinstance(find_frame_edges(np.zeros((*size, 3), np.uint8), film_format=FORMAT), NotSeen)


def test_frames_that_touch_are_found_where_the_neighbours_are_denser() -> None:
    picture = film(0.4, 0.2, 0.6, pitch_mm=36.0, cell_mm=4)
    inside = cv2.fillConvexPoly(
        np.zeros(picture.shape[:2], np.uint8), np.rint(corners_at(0.4, 0.2, 0.6)).astype(int), 1
    )
    picture = np.where(inside[..., None] > 0, picture, picture // 4 * 3)
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.hypot(*(found.corners.as_array() - corners_at(0.4, 0.2, 0.6)).T).max() < 1.5


def test_an_edge_between_pictures_is_seen_where_they_differ_over_less_than_half_of_it() -> None:
    picture = film(0.4, 0.2, cell_mm=4)
    (_, top), (right, bottom) = np.rint(corners_at(0.4, 0.2)[[0, 2]]).astype(int)
    picture[top:bottom, right:] = picture[top:bottom, right - 6 : right - 5]
    picture[top : top + round(0.4 * (bottom - top)), right:] //= 2
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.abs(found.corners.as_array() - corners_at(0.4, 0.2)).max() < 1.0
    assert found.evidence[1].side is Side.RIGHT
    assert found.evidence[1].seen_fraction > 0.3
    assert found.confidence > 0.8


def test_edges_that_lie_too_near_to_each_other_are_not_both_believed() -> None:
    picture = film()
    right, bottom = (round(v) for v in corners_at()[2])
    picture[bottom - 19 : bottom + 1, 100 : right - 40] = ORANGE
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert np.abs(found.corners.as_array() - corners_at()).max() < 1.5


def test_opposite_edges_of_a_frame_are_about_parallel() -> None:
    picture = film()
    view = reduce_view(picture, PX_PER_MM)
    found = max(fit_likely(view, picture, (FORMAT,), NEGATIVE, 1 / PX_PER_MM), key=lambda one: one.sure)
    leaning = found.corners + np.array([(0, 0), (0, 0), (0, 0), (25, 0)], np.float32)
    assert is_believable(found)
    assert not is_believable(replace(found, corners=leaning))


def test_light_beside_dark_film_is_no_edge() -> None:
    """Bare light beside dark film, with no base between."""
    picture = np.full((SIZE[1], SIZE[0], 3), (60, 60, 60), np.uint8)
    corners = corners_at().astype(np.float32)
    picture[:, : round(float(corners[0, 0]))] = 250
    bases = np.full((4, 3), 150, np.float32)
    left = refine_sides(picture, corners, bases, reach_px=10.0, inverted=False)[3]
    assert not left.seen.any()


def test_light_beside_fogged_film_and_through_its_holes_is_no_base() -> None:
    px_per_mm, end = 13.0, 420
    picture = np.full((SIZE[1], SIZE[0], 3), (40, 40, 48), np.uint8)
    picture[end:] = 250
    for row in (end - 3.4 * px_per_mm, end - 31.6 * px_per_mm):
        for hole in np.arange(0.0, SIZE[0], 4.75 * px_per_mm):
            x, y = round(hole), round(row - 1.4 * px_per_mm)
            picture[max(y, 0) : y + round(2.8 * px_per_mm), x : x + round(2.0 * px_per_mm)] = 250
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / px_per_mm)
    assert isinstance(found, NotSeen) or found.confidence < Limits().least_confidence


def test_holes_little_brighter_than_the_base_are_no_edge() -> None:
    """The frame's upper part is clear; light through the holes above it is a tenth over the base."""
    picture = film()
    bases = np.tile(np.array(ORANGE, np.float32), (4, 1))
    top = round(float(corners_at()[0, 1]))
    picture[: top + 160] = ORANGE
    for hole in np.arange(5.0, SIZE[0], 4.75 * PX_PER_MM):
        picture[: top - 2, round(hole) : round(hole + 2.0 * PX_PER_MM)] = np.array(ORANGE) * 1.1
    fits = refine_sides(picture, corners_at().astype(np.float32), bases, reach_px=8.0, inverted=False)
    assert is_seen(fits[0])
    without = without_rows_of_holes(fits, FORMAT)
    assert [is_seen(fit) for fit in without] == [False, True, True, True]


def test_a_glow_about_a_dense_picture_is_not_its_edge() -> None:
    """Light spreads in the film: for half a millimetre outside the edge the base gets darker, then all at once."""
    x = np.arange(SIZE[0], dtype=np.float32) - float(corners_at()[0, 0])
    glow = np.interp(x, [-8, 0], [0, 0.4])
    tones = np.where(x[:, None] < 0, np.array(ORANGE) * (1 - glow[:, None]), 30.0)
    picture = np.tile(tones, (SIZE[1], 1, 1))
    picture += np.random.default_rng(5).normal(0, 1.0, picture.shape)
    bases = np.tile(np.array(ORANGE, np.float32), (4, 1))
    fits = refine_sides(picture.astype(np.uint8), corners_at().astype(np.float32), bases, reach_px=6.0, inverted=False)
    assert fits[3].seen_share > 0.9
    assert abs(fits[3].shift) < 1.0


def test_without_either_of_two_edges_a_frame_is_looked_for_that_hardly_fits() -> None:
    """The lowest part of the frame is clear: what is seen of it is 0.8 mm too low, as much as a gate may hardly be."""
    picture, bottom = film(), float(corners_at()[2, 1])
    cleared = bottom - 0.8 * PX_PER_MM
    picture[round(cleared) : round(bottom) + 2] = ORANGE
    scene = survey(reduce_view(picture, PX_PER_MM))
    likely = search(scene, (FORMAT,), Scale(PX_PER_MM / scene.view.factor), None, negative=True)
    within = next(place for place in likely if abs(scene.view.to_full(place.bottom.at) - cleared) < 3)
    found = fit_place(picture, scene, within, None, knows_scale=True)
    assert [is_seen(one.fits[0]) and is_seen(one.fits[2]) for one in found].count(True) == 1
    assert min(float(np.abs(one.corners - corners_at()).max()) for one in found) < 2.0


def test_an_edge_placed_by_the_frames_size_is_found_where_the_gate_is_larger() -> None:
    """Only a part of the lower edge shows, half a millimetre further out than the format says."""
    picture = film()
    bottom, far = round(float(corners_at()[2, 1])), round(0.5 * PX_PER_MM)
    left, right = round(float(corners_at()[0, 0])), round(float(corners_at()[1, 0]))
    picture[bottom - 3 * far : bottom + far, left:right] = ORANGE
    picture[bottom - 3 * far : bottom + far, left + 40 : left + 240] = 80
    found = find_frame_edges(picture, film_format=FORMAT, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM)
    assert isinstance(found, FrameEdges)
    assert not found.evidence[2].inferred
    assert abs(found.corners.as_array()[2, 1] - (corners_at()[2, 1] + far)) < 2.0


def test_noise_makes_no_edges() -> None:
    rng = np.random.default_rng(3)
    picture = np.clip(rng.normal(150, 10, (SIZE[1], SIZE[0], 3)), 0, 255).astype(np.uint8)
    bases = np.full((4, 3), 150, np.float32)
    fits = refine_sides(picture, corners_at().astype(np.float32), bases, reach_px=5.0, inverted=False)
    assert not any(is_seen(fit) for fit in fits)


def test_an_opening_about_the_frame_is_no_slide() -> None:
    """Nothing is told: the holder might be a slide's black. Light falls off to the right, so that base is uneven."""
    left, top = (round(v) for v in corners_at()[0] - (27, 18))
    right, bottom = (round(v) for v in corners_at()[2] + (27, 18))
    lit = film() * np.linspace(1, 0.7, SIZE[0])[:, None]
    picture = np.full_like(film(), 20)
    picture[top:bottom, left:right] = lit[top:bottom, left:right].astype(np.uint8)
    found = find_frame_edges(picture, film_format=FORMAT)
    assert isinstance(found, FrameEdges)
    assert found.film_kind is NEGATIVE
    assert np.abs(found.corners.as_array() - corners_at()).max() < 1.5


def _opening(picture: npt.NDArray[np.uint8], margin_mm: float) -> npt.NDArray[np.uint8]:
    """Show a picture through a holder's opening that is so much larger than the frame on all sides."""
    (left, top), (right, bottom) = (np.rint(corners_at()[i] + s * margin_mm * PX_PER_MM) for i, s in ((0, -1), (2, 1)))
    shown = np.full_like(picture, 12)
    within = np.s_[int(top) : int(bottom), int(left) : int(right)]
    shown[within] = picture[within]
    return shown


@pytest.mark.parametrize("tone", [ORANGE, (170, 170, 170)], ids=["orange", "grey"])
def test_clear_film_in_an_opening_is_no_slide_where_the_kind_is_not_told(tone: tuple[int, int, int]) -> None:
    rng = np.random.default_rng(2)
    clear = np.clip(np.array(tone) + rng.normal(0, 1.5, (SIZE[1], SIZE[0], 3)), 0, 255).astype(np.uint8)
    found = find_frame_edges(_opening(clear, 0.0), film_format=FORMAT)
    assert isinstance(found, NotSeen) or found.confidence < Limits().least_confidence


def test_a_slide_is_told_by_its_blacks_from_film_in_an_opening() -> None:
    corners = corners_at().astype(np.float32)
    slide = film(slide=True)
    slide[300:] = np.where(slide[300:] > 40, 12, slide[300:])
    assert likely_slide(reduce_view(slide), corners) > 0.8
    assert likely_slide(reduce_view(_opening(film(), 0.4)), corners) < 0.35


def test_a_slide_between_bare_light_is_no_negative() -> None:
    """Its rebate is black all along; a negative's picture is not."""
    slide = film(slide=True)
    assert likely_negative(reduce_view(slide), corners_at().astype(np.float32)) == 1.0
    wider = corners_at().astype(np.float32) + np.array([(0, -24), (0, -24), (0, 24), (0, 24)], np.float32)
    assert likely_negative(reduce_view(slide), wider) < 0.5


def test_half_of_a_longer_frame_is_not_answered_where_the_format_is_not_told() -> None:
    half = load_film_format("135-18x24")
    picture = film()
    picture[:, SIZE[0] // 2 :] = ORANGE
    for formats in ((half,), (half, FORMAT)):
        found = find_frame_edges(
            picture, film_format=None, film_kind=NEGATIVE, mm_per_px=1 / PX_PER_MM, formats=formats
        )
        assert isinstance(found, NotSeen) is (len(formats) > 1)


def test_a_place_of_any_format_at_any_scale_is_less_sure() -> None:
    picture = film()
    sure = [
        max(one.sure for one in fit_likely(reduce_view(picture), picture, formats, NEGATIVE, mm_per_px))
        for formats, mm_per_px in (((FORMAT,), None), ((FORMAT, load_film_format("120-6x6")), None))
    ]
    assert sure[1] < sure[0]


def test_a_slide_with_an_edge_in_the_dark_is_less_sure_where_the_scale_is_not_known() -> None:
    picture = film(1.0, slide=True)
    picture[:, round(float(corners_at(1.0)[1, 0])) - 150 :] = 3
    view = reduce_view(picture)
    best = max(fit_likely(view, picture, (FORMAT,), FilmKind.SLIDE, None), key=lambda one: one.sure)
    assert not all(is_seen(fit) for fit in best.fits)
    assert best.sure < replace(best, is_scaled=True).sure
