"""What is drawn on the live picture, looked for in the pixels."""

import numpy as np
import pytest

from tests.tui.drawn_film import HEIGHT_PX, WIDTH_PX, edges_at, live_pixels
from tethercap.geometry import SizePx
from tethercap.tui.cells import Depth
from tethercap.tui.hints import Correction
from tethercap.tui.overlay import Drawing, Ink, canvas_size, compose, corner_tiles, place, target_quad
from tethercap.watch.sighting import Side

INK = Ink(edge=(255, 0, 255), target=(0, 255, 255), arrow=(255, 255, 0), label=(1, 1, 1), surround=(7, 7, 7))
GREY = np.full((HEIGHT_PX, WIDTH_PX, 3), 120, dtype=np.uint8)


def _pixels(
    drawing: Drawing, rows: int = 30, columns: int = 90, picture: np.typing.NDArray[np.uint8] = GREY
) -> np.typing.NDArray[np.uint8]:
    grid = compose(picture, drawing, rows, columns, Depth.BITS_24, INK)
    pixels = np.empty((2 * rows, columns, 3), dtype=np.uint8)
    pixels[0::2], pixels[1::2] = grid.foreground, grid.background
    return pixels


def _where(pixels: np.typing.NDArray[np.uint8], colour: tuple[int, int, int]) -> np.typing.NDArray[np.bool_]:
    return np.asarray((pixels == colour).all(axis=-1))


def test_picture_fills_the_view_and_keeps_its_shape() -> None:
    spot = place(SizePx(1024, 680), SizePx(90, 60))
    assert (spot.width_px, spot.height_px) == (90, 60)
    tall = place(SizePx(1024, 680), SizePx(90, 90))
    assert (tall.x_px, tall.y_px, tall.width_px, tall.height_px) == (0, 15, 90, 60)


def test_found_frame_is_drawn_where_it_lies() -> None:
    """36 mm at 24 px/mm in 1024 px shown on 90: 75.9 px wide, left edge at (512 - 432 + 36) * 90 / 1024 = 10.2."""
    drawn = _where(_pixels(Drawing(edges_at(1.5), dim_outside=False)), INK.edge)
    columns = np.flatnonzero(drawn.sum(axis=0) > 30)
    assert columns[0] == pytest.approx(10, abs=1)
    assert columns[-1] - columns[0] == pytest.approx(76, abs=1)


def test_inferred_edges_are_broken_lines() -> None:
    whole = _where(_pixels(Drawing(edges_at(0.0), dim_outside=False)), INK.edge)
    broken = _where(_pixels(Drawing(edges_at(0.0, inferred=(Side.LEFT,)), dim_outside=False)), INK.edge)
    left = np.flatnonzero(whole.sum(axis=0) > 30)[0]
    assert broken[:, left].sum() < 0.75 * whole[:, left].sum()
    assert broken[:, left + 5 :].sum() == whole[:, left + 5 :].sum()


def test_outside_of_the_frame_is_dimmed_and_the_inside_is_not() -> None:
    pixels = _pixels(Drawing(edges_at(0.0)))
    assert pixels[30, 45].tolist() == [120, 120, 120]
    assert pixels[1, 1].tolist() == [60, 60, 60]


@pytest.mark.parametrize(
    ("correction", "pointing"),
    [
        (Correction(2.0, 0.0, 0.0), "right"),
        (Correction(-2.0, 0.0, 0.0), "left"),
        (Correction(0.0, 2.0, 0.0), "down"),
        (Correction(0.0, -2.0, 0.0), "up"),
    ],
)
def test_arrow_points_where_the_film_must_go(correction: Correction, pointing: str) -> None:
    """An arrow is widest just behind its tip: the widest line lies on the side it points to."""
    arrow = _where(_pixels(Drawing(edges_at(0.0), None, correction, dim_outside=False))[:42], INK.arrow)
    along = 0 if pointing in ("right", "left") else 1
    widths = arrow.sum(axis=along)
    places = np.flatnonzero(widths)
    middle = (places[0] + places[-1]) / 2
    assert (widths.argmax() > middle) == (pointing in ("right", "down"))


def test_label_says_what_the_arrow_says() -> None:
    grid = compose(GREY, Drawing(edges_at(0.0), None, Correction(-1.24, 0.0, 0.8)), 30, 90, Depth.BITS_24, INK)
    text = "\n".join("".join(map(chr, row)) for row in grid.glyphs.tolist())
    assert "◀ 1.2 mm" in text
    assert "↻ 0.8°" in text


def test_target_stands_upright_in_the_middle_with_the_frames_size() -> None:
    quad = target_quad(SizePx(WIDTH_PX, HEIGHT_PX), edges_at(3.0, tilt_deg=2.0))
    corners = quad.as_array()
    assert quad.centre == pytest.approx(((WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2))
    assert corners[1, 0] - corners[0, 0] == pytest.approx(864, abs=0.5)
    assert corners[0, 1] == corners[1, 1]


def test_peaking_marks_the_sharp_part_and_not_the_blurred_one() -> None:
    rng = np.random.default_rng(3)
    picture = GREY.copy()
    picture[200:400, 100:300] = rng.integers(0, 255, (200, 200, 1))
    peaks = _where(_pixels(Drawing(peaking=True), picture=picture), INK.peak)
    rows, columns = np.nonzero(peaks)
    assert len(rows) > 10
    assert columns.max() <= 27
    assert rows.min() >= 16 and rows.max() <= 36


def test_nothing_is_marked_as_sharp_where_nothing_is() -> None:
    assert not _where(_pixels(Drawing(peaking=True)), INK.peak).any()


def test_corners_are_shown_one_to_one() -> None:
    picture = live_pixels(0.0)
    tiles = corner_tiles(picture, edges_at(0.0), SizePx(101, 61), INK)
    assert tiles.shape == (61, 101, 3)
    top_left = picture[52 - 14 : 52 + 16, 80 - 24 : 80 + 26, ::-1].astype(int)
    assert np.abs(tiles[:15, :25].astype(int) - top_left[:15, :25]).mean() < 12


@pytest.mark.parametrize("depth", list(Depth))
@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (2, 200), (60, 3), (37, 84)])
def test_every_size_of_view_can_be_drawn(rows: int, columns: int, depth: Depth) -> None:
    drawing = Drawing(edges_at(40.0, tilt_deg=30), None, Correction(9.0, 0.0, 2.0), "36A", peaking=True)
    assert compose(GREY, drawing, rows, columns, depth, INK).shape == (rows, columns)
    canvas = canvas_size(rows, columns, depth)
    assert canvas.width_px >= columns


def test_the_picture_handed_in_is_left_as_it_was() -> None:
    picture = live_pixels(1.0)
    before = picture.copy()
    compose(picture, Drawing(edges_at(1.0), peaking=True), 30, 90, Depth.BITS_24, INK)
    assert np.array_equal(picture, before)
