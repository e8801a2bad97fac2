"""What is drawn on the live picture: the found frame, the target, the way the film must go. Pure.

Colour is never alone: believed edges are whole lines, inferred ones broken; the target is corners, the way an arrow.
"""

from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.geometry import QuadPx, SizePx
from tethercap.pictures import U8Array
from tethercap.tui.big_letters import draw as draw_letters
from tethercap.tui.blocks import two_tones
from tethercap.tui.cells import CellGrid, Depth, braille, half_blocks, shrink_into, to_bits_15
from tethercap.tui.hints import Correction
from tethercap.tui.picture_way import Way
from tethercap.watch.sighting import FrameEdges

Rgb = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ink:
    """Colours of the drawing, RGB 0..255."""

    surround: Rgb = (12, 10, 9)
    """Beside the picture."""
    edge: Rgb = (255, 176, 58)
    """The found frame."""
    target: Rgb = (240, 236, 228)
    arrow: Rgb = (255, 176, 58)
    label: Rgb = (12, 10, 9)
    peak: Rgb = (255, 60, 60)


class Placement(NamedTuple):
    """Where a picture lies on a canvas."""

    x_px: int
    y_px: int
    width_px: int
    height_px: int
    scale: float
    """Canvas px per picture px."""

    def on_canvas(self, corners: QuadPx) -> npt.NDArray[np.float64]:
        """Corners in canvas px, shape (4, 2), pixel centres at integers."""
        return (corners.as_array() + 0.5) * self.scale - 0.5 + (self.x_px, self.y_px)


def place(picture: SizePx, canvas: SizePx) -> Placement:
    """Fit a picture into the middle of a canvas with square pixels."""
    scale = min(canvas.width_px / picture.width_px, canvas.height_px / picture.height_px)
    width, height = max(1, round(picture.width_px * scale)), max(1, round(picture.height_px * scale))
    return Placement((canvas.width_px - width) // 2, (canvas.height_px - height) // 2, width, height, scale)


@dataclass(frozen=True, slots=True)
class Drawing:
    """What to draw besides the picture; None leaves that part out."""

    edges: FrameEdges | None = None
    target: QuadPx | None = None
    """Where the frame should lie, in picture px."""
    correction: Correction | None = None
    label: str = ""
    """Written in the found frame's upper left corner."""
    dim_outside: bool = True
    """Everything beside the found frame at half brightness."""
    peaking: bool = False
    corners_only: bool = False
    """Show the frame's corners and its middle at live-view pixels one to one."""


@dataclass(frozen=True, slots=True, eq=False)
class LiveScene:
    """A live picture and what is drawn on it, to be painted at any size."""

    pixels_bgr: U8Array
    drawing: Drawing
    ink: Ink

    @property
    def inks(self) -> tuple[Rgb, ...]:
        """Colours of the drawing."""
        ink = self.ink
        return ink.surround, ink.edge, ink.target, ink.arrow, ink.label, ink.peak

    def cells(self, rows: int, columns: int, depth: Depth, way: Way) -> CellGrid:
        """In cells."""
        return compose(self.pixels_bgr, self.drawing, rows, columns, depth, self.ink, way)

    def pixels(self, canvas_px: SizePx, letter_px: int) -> U8Array:
        """In pixels, RGB."""
        return compose_pixels(self.pixels_bgr, self.drawing, canvas_px, self.ink, letter_px)


def canvas_size(rows: int, columns: int, depth: Depth, way: Way = Way.HALF_BLOCKS) -> SizePx:
    """Square pixels that an area of cells is drawn in: 1 x 2 a cell for half blocks, 2 x 4 for all finer ones."""
    coarse = depth is not Depth.NONE and way is Way.HALF_BLOCKS
    return SizePx(columns, 2 * rows) if coarse else SizePx(2 * columns, 4 * rows)


def target_quad(view: SizePx, edges: FrameEdges, frame_mm: tuple[float, float] | None = None) -> QuadPx:
    """Give the upright rectangle in the middle of the view, as large as the found frame (or as `frame_mm` says)."""
    if frame_mm is None:
        corners = edges.corners.as_array()
        width = float(np.hypot(*(corners[1] - corners[0])) + np.hypot(*(corners[2] - corners[3]))) / 2
        height = float(np.hypot(*(corners[3] - corners[0])) + np.hypot(*(corners[2] - corners[1]))) / 2
    else:
        width, height = frame_mm[0] / edges.mm_per_px, frame_mm[1] / edges.mm_per_px
    x_mid, y_mid = (view.width_px - 1) / 2, (view.height_px - 1) / 2
    half = np.array([width, height]) / 2
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return QuadPx.from_array(signs * half + (x_mid, y_mid))


def compose(
    pixels_bgr: U8Array, drawing: Drawing, rows: int, columns: int, depth: Depth, ink: Ink, way: Way = Way.HALF_BLOCKS
) -> CellGrid:
    """Make the live picture with everything drawn on it, in cells.

    Parameters
    ----------
    pixels_bgr : ndarray
        Shape (height, width, 3), 0..255.
    drawing : Drawing
        In px of `pixels_bgr`.
    rows, columns : int
        Size of the view in cells, 1 or more.
    way : Way
        One of those made of cells.
    """
    canvas_px = canvas_size(rows, columns, depth, way)
    if drawing.corners_only:
        return to_grid(corner_tiles(pixels_bgr, drawing.edges, canvas_px, ink), depth, way)
    canvas, spot, inside = _canvas_with(pixels_bgr, canvas_px, ink)
    if depth is Depth.NONE:
        inside[:] = _full_range(inside)
    elif depth is Depth.BITS_15:
        inside[:] = to_bits_15(inside)
    if drawing.peaking:
        inside[_peaks(pixels_bgr, spot)] = ink.peak
    _draw(canvas, drawing, spot, ink, outlined=depth is Depth.NONE)
    grid = to_grid(canvas, depth, way)
    for label in labels_of(drawing, spot, ink):
        _put_label(grid, label, canvas_px.width_px / columns)
    return grid


def compose_pixels(pixels_bgr: U8Array, drawing: Drawing, canvas_px: SizePx, ink: Ink, letter_px: int) -> U8Array:
    """Make the live picture with everything drawn on it, in pixels.

    Parameters
    ----------
    letter_px : int
        Pixels a dot of the labels' letters, and of lines.

    Returns
    -------
    ndarray
        Shape of `canvas_px`, RGB.
    """
    if drawing.corners_only:
        return corner_tiles(pixels_bgr, drawing.edges, canvas_px, ink)
    canvas, spot, inside = _canvas_with(pixels_bgr, canvas_px, ink)
    if drawing.peaking:
        inside[_peaks(pixels_bgr, spot)] = ink.peak
    _draw(canvas, drawing, spot, ink, line_px=letter_px)
    for label in labels_of(drawing, spot, ink):
        _paint_label(canvas, label, letter_px)
    return canvas


def _canvas_with(pixels_bgr: U8Array, canvas_px: SizePx, ink: Ink) -> tuple[U8Array, Placement, U8Array]:
    """A canvas with the picture in its middle; canvas, place of the picture, and the view of that place."""
    spot = place(SizePx(pixels_bgr.shape[1], pixels_bgr.shape[0]), canvas_px)
    canvas = np.empty((canvas_px.height_px, canvas_px.width_px, 3), dtype=np.uint8)
    canvas[:] = ink.surround
    inside = canvas[spot.y_px : spot.y_px + spot.height_px, spot.x_px : spot.x_px + spot.width_px]
    inside[:] = shrink_into(pixels_bgr, spot.width_px, spot.height_px)[..., ::-1]
    return canvas, spot, inside


def _full_range(picture_rgb: U8Array) -> U8Array:
    """Stretch a picture over the whole range and lift its middle: dots alone have little contrast to give away."""
    low, high = np.percentile(picture_rgb, (2, 98))
    shown = np.clip((picture_rgb.astype(np.float32) - low) / max(high - low, 1.0), 0, 1)
    return np.asarray(255 * shown, dtype=np.uint8)


def to_grid(canvas_rgb: U8Array, depth: Depth, way: Way = Way.HALF_BLOCKS) -> CellGrid:
    """Turn a canvas of `canvas_size` pixels into cells: blocks, or dots where there is no colour."""
    if depth is Depth.NONE:
        return braille(np.asarray(cv2.cvtColor(canvas_rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8))
    return half_blocks(canvas_rgb) if way is Way.HALF_BLOCKS else two_tones(canvas_rgb, way)


def corner_tiles(pixels_bgr: U8Array, edges: FrameEdges | None, canvas_px: SizePx, ink: Ink) -> U8Array:
    """Cut out the four corners and the middle of the frame, one live-view pixel a canvas pixel.

    Parameters
    ----------
    edges : FrameEdges or None
        Without a frame, the corners are those of the middle three quarters of the view.

    Returns
    -------
    ndarray
        RGB canvas: corners in their places, the middle over them in a box.
    """
    height, width = pixels_bgr.shape[:2]
    rim = np.array([[0.125, 0.125], [0.875, 0.125], [0.875, 0.875], [0.125, 0.875]]) * (width, height)
    corners = edges.corners.as_array() if edges is not None else rim
    canvas = np.empty((canvas_px.height_px, canvas_px.width_px, 3), dtype=np.uint8)
    canvas[:] = ink.surround
    tile_w, tile_h = (canvas_px.width_px - 1) // 2, (canvas_px.height_px - 1) // 2
    for corner, (right, below) in zip(corners, ((0, 0), (1, 0), (1, 1), (0, 1)), strict=True):
        x_px, y_px = right * (canvas_px.width_px - tile_w), below * (canvas_px.height_px - tile_h)
        canvas[y_px : y_px + tile_h, x_px : x_px + tile_w] = _cut_out(pixels_bgr, corner, tile_w, tile_h)
    mid_w, mid_h = tile_w * 2 // 3, tile_h * 2 // 3
    x_px, y_px = (canvas_px.width_px - mid_w) // 2, (canvas_px.height_px - mid_h) // 2
    canvas[y_px - 1 : y_px + mid_h + 1, x_px - 1 : x_px + mid_w + 1] = ink.surround
    canvas[y_px : y_px + mid_h, x_px : x_px + mid_w] = _cut_out(pixels_bgr, corners.mean(axis=0), mid_w, mid_h)
    return canvas


def _cut_out(pixels_bgr: U8Array, middle: npt.NDArray[np.float64], width: int, height: int) -> U8Array:
    cut = cv2.getRectSubPix(pixels_bgr, (width, height), (float(middle[0]), float(middle[1])))
    return np.asarray(cut, dtype=np.uint8)[..., ::-1]


def _peaks(pixels_bgr: U8Array, spot: Placement) -> npt.NDArray[np.bool_]:
    """Where fine detail is strongest, on the canvas: the best 4 % of the shrunk picture, judged at full resolution."""
    grey = cv2.cvtColor(pixels_bgr, cv2.COLOR_BGR2GRAY)
    energy = cv2.convertScaleAbs(cv2.Laplacian(grey, cv2.CV_16S, ksize=3))
    small = np.asarray(cv2.resize(energy, (spot.width_px, spot.height_px), interpolation=cv2.INTER_AREA))
    return small > max(float(np.percentile(small, 96)), 6.0)


def _draw(
    canvas: U8Array, drawing: Drawing, spot: Placement, ink: Ink, *, outlined: bool = False, line_px: int = 1
) -> None:
    if drawing.edges is not None:
        corners = spot.on_canvas(drawing.edges.corners)
        if drawing.dim_outside:
            _dim_outside(canvas, corners, spot)
        for index, evidence in enumerate(drawing.edges.evidence):
            start, stop = corners[index], corners[(index + 1) % 4]
            _line(canvas, start, stop, ink.edge, broken=evidence.inferred, outlined=outlined, line_px=line_px)
    if drawing.target is not None:
        for corner, along, across in _corner_marks(spot.on_canvas(drawing.target)):
            for end in (along, across):
                _line(canvas, corner, end, ink.target, outlined=outlined, line_px=line_px)
    if drawing.correction is not None and drawing.correction.needed:
        _arrow(canvas, spot, drawing.correction, ink)


def _dim_outside(canvas: U8Array, corners: npt.NDArray[np.float64], spot: Placement) -> None:
    mask = np.zeros((spot.height_px, spot.width_px), dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.rint(corners - (spot.x_px, spot.y_px)).astype(np.int32), 1)
    picture = canvas[spot.y_px : spot.y_px + spot.height_px, spot.x_px : spot.x_px + spot.width_px]
    picture[mask == 0] >>= 1


def _line(
    canvas: U8Array,
    start: npt.NDArray[np.float64],
    stop: npt.NDArray[np.float64],
    colour: Rgb,
    *,
    broken: bool = False,
    outlined: bool = False,
    line_px: int = 1,
) -> None:
    if outlined:  # without colour a line shows by the dark room around it
        (x_from, y_from), (x_to, y_to) = np.rint(start).astype(int).tolist(), np.rint(stop).astype(int).tolist()
        cv2.line(canvas, (x_from, y_from), (x_to, y_to), (0, 0, 0), 5, cv2.LINE_8)
    pieces = [(0.0, 1.0)]
    if broken:
        count = max(2, ceil(float(np.hypot(*(stop - start))) / (8 * line_px)))
        pieces = [((place + 0.25) / count, (place + 0.75) / count) for place in range(count)]
    for begin, end in pieces:
        (x_start, y_start), (x_stop, y_stop) = (
            np.rint(start + (stop - start) * part).astype(int).tolist() for part in (begin, end)
        )
        cv2.line(canvas, (x_start, y_start), (x_stop, y_stop), colour, line_px, cv2.LINE_8)


def _corner_marks(
    corners: npt.NDArray[np.float64],
) -> list[tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]]:
    marks = []
    for index in range(4):
        corner, before, after = corners[index], corners[index - 1], corners[(index + 1) % 4]
        arm = 0.12 * min(float(np.hypot(*(before - corner))), float(np.hypot(*(after - corner))))
        toward = [
            corner + (other - corner) / max(float(np.hypot(*(other - corner))), 1e-9) * arm for other in (before, after)
        ]
        marks.append((corner, toward[0], toward[1]))
    return marks


def _arrow(canvas: U8Array, spot: Placement, correction: Correction, ink: Ink) -> None:
    """Draw a filled arrow in the middle of the picture, pointing where the film must go."""
    if not (correction.along_mm or correction.across_mm):
        return
    sideways = abs(correction.along_mm) >= abs(correction.across_mm)
    sign = np.sign(correction.along_mm if sideways else correction.across_mm)
    size = min(spot.width_px, spot.height_px)
    head, shaft, long = 0.09 * size, 0.035 * size, 0.24 * size
    outline = np.array(
        [[-long, -shaft], [0, -shaft], [0, -head], [head * 1.2, 0], [0, head], [0, shaft], [-long, shaft]]
    )
    outline[:, 0] = (outline[:, 0] + long / 2) * sign
    if not sideways:
        outline = outline[:, ::-1]
    middle = np.array([spot.x_px + spot.width_px / 2, spot.y_px + spot.height_px / 2])
    points = np.rint(outline + middle).astype(np.int32)
    cv2.fillPoly(canvas, [points], ink.arrow, cv2.LINE_8)
    cv2.polylines(canvas, [points], True, ink.label, 1, cv2.LINE_8)


class Label(NamedTuple):
    """Text on the picture."""

    text: str
    x_px: float
    """Left end, or middle where it is centred, on the canvas."""
    y_px: float
    """Top."""
    ink: Rgb
    ground: Rgb
    centred: bool = False


def labels_of(drawing: Drawing, spot: Placement, ink: Ink) -> list[Label]:
    """What is written on the picture: the frame's number in its corner, the way under the arrow."""
    labels = []
    if drawing.label and drawing.edges is not None:
        x_px, y_px = spot.on_canvas(drawing.edges.corners)[0].tolist()
        labels.append(Label(f" {drawing.label} ", x_px + 1, y_px + 1, ink.label, ink.edge))
    correction = drawing.correction
    if correction is not None and correction.needed:
        middle = spot.x_px + spot.width_px / 2
        below = spot.y_px + 0.7 * spot.height_px
        labels.append(Label(_correction_label(correction), middle, below, ink.label, ink.arrow, centred=True))
    return labels


def _put_label(grid: CellGrid, label: Label, px_per_column: float) -> None:
    rows, columns = grid.shape
    left = label.x_px / px_per_column - (len(label.text) / 2 if label.centred else 0)
    column = min(max(round(left), 0), max(columns - len(label.text), 0))
    row = min(max(ceil(label.y_px / px_per_column / 2), 0), rows - 1)
    grid.put(row, column, label.text, label.ink, label.ground)


def _paint_label(canvas: U8Array, label: Label, letter_px: int) -> None:
    """Write in letters of dots, on a ground one dot wider."""
    text = label.text.strip()
    mask = np.pad(draw_letters(text, letter_px), letter_px * 2)
    height, width = min(mask.shape[0], canvas.shape[0]), min(mask.shape[1], canvas.shape[1])
    left = round(label.x_px - (width / 2 if label.centred else 0))
    x_px, y_px = min(max(left, 0), canvas.shape[1] - width), min(max(round(label.y_px), 0), canvas.shape[0] - height)
    area = canvas[y_px : y_px + height, x_px : x_px + width]
    area[:] = np.where(mask[:height, :width, None], label.ink, label.ground)


def _correction_label(correction: Correction) -> str:
    parts = []
    if correction.along_mm:
        parts.append(f"{'▶' if correction.along_mm > 0 else '◀'} {abs(correction.along_mm):.1f} mm")
    if correction.across_mm:
        parts.append(f"{'▼' if correction.across_mm > 0 else '▲'} {abs(correction.across_mm):.1f} mm")
    if correction.turn_deg:
        parts.append(f"{'↻' if correction.turn_deg > 0 else '↺'} {abs(correction.turn_deg):.1f}°")
    return f" {'  '.join(parts)} "
