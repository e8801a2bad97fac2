"""Find two frames side by side in one RAW, as half-frame cameras leave them on film."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tethercap.check.view import raw_to_view
from tethercap.errors import ConversionError
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import RawPicture, U8Array
from tethercap.profile_files import load_film_format
from tethercap.watch.edges import find_frame_edges
from tethercap.watch.sighting import FrameEdges

HALF_FRAME = "135-18x24"
_REDUCTION = 4
_SHARE = 0.56
"""Each frame is looked for in this much of the picture, from either side."""
_SIZE_AGREES, _FAR_FROM_PITCH = 0.04, 0.12
"""How much the widths of the two may differ, and how far from a pitch they may lie apart, as shares."""


@dataclass(frozen=True, slots=True)
class FoundPair:
    """Two frames in one picture, mosaic pixels."""

    first: QuadPx
    """At the left, or at the top."""
    second: QuadPx


def find_pair_in_file(path: Path, film_kind: FilmKind, format_id: str = HALF_FRAME) -> FoundPair:
    """Find the two frames in a RAW file; see `find_pair`."""
    return find_pair(read_raw(path), film_kind, format_id, name=path.name)


def find_pair(
    raw: RawPicture, film_kind: FilmKind, format_id: str = HALF_FRAME, *, name: str = "this RAW"
) -> FoundPair:
    """Find two frames side by side.

    Parameters
    ----------
    raw : RawPicture
    film_kind : FilmKind
    format_id : str
        Format of each of the two.
    name : str
        For the error.

    Raises
    ------
    ConversionError
        If there are not two frames of one size, a pitch apart.
    """
    view, film_format = raw_to_view(raw, _REDUCTION), load_film_format(format_id)
    is_upright = view.shape[0] > view.shape[1]
    if is_upright:
        # Looked at with x and y exchanged, the film runs from left to right.
        view = np.ascontiguousarray(view.transpose(1, 0, 2))
    length = view.shape[1]
    share = round(_SHARE * length)
    starts = (0, length - share)
    parts = [np.ascontiguousarray(view[:, start : start + share]) for start in starts]
    alone = [_find(part, film_format, film_kind, None) for part in parts]
    seen = [edges for edges in alone if edges is not None]
    if not seen:
        raise _none_found(name)
    # The one that is surer tells the scale, by which both are found more surely. The sides across the film tell it
    # best: along it the next frame is so near that an edge of it may have been taken.
    scale = _scale_across(max(seen, key=lambda edges: edges.confidence), film_format)
    one, other = (_find(part, film_format, film_kind, scale) for part in parts)
    if one is None or other is None:
        raise _none_found(name)
    first, second = (
        QuadPx.from_array(edges.corners.as_array() + np.array([start, 0.0]))
        for edges, start in zip((one, other), starts, strict=True)
    )
    if not _are_pair(first, second, film_format):
        raise _none_found(name)
    return FoundPair(_in_mosaic(first, is_upright=is_upright), _in_mosaic(second, is_upright=is_upright))


def _find(part: U8Array, film_format: FilmFormat, film_kind: FilmKind, mm_per_px: float | None) -> FrameEdges | None:
    found = find_frame_edges(part, film_format=film_format, film_kind=film_kind, mm_per_px=mm_per_px)
    return found if isinstance(found, FrameEdges) else None


def _scale_across(edges: FrameEdges, film_format: FilmFormat) -> float:
    """Millimetres a pixel, by the two sides that lie across the film."""
    quad = edges.corners.as_array()
    sides = [float(np.hypot(*(quad[(k + 1) % 4] - quad[k]))) for k in range(4)]
    pairs = ((sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2)
    across_px = max(pairs) if film_format.across_mm > film_format.along_mm else min(pairs)
    return film_format.across_mm / across_px


def _are_pair(first: QuadPx, second: QuadPx, film_format: FilmFormat) -> bool:
    """Whether two frames, on film that runs from left to right, are of one size and a pitch apart."""
    one, other = first.as_array(), second.as_array()
    widths_px = [float(np.hypot(*(quad[1] - quad[0]))) for quad in (one, other)]
    apart_px = float(np.hypot(*(other.mean(axis=0) - one.mean(axis=0))))
    pitch_px = film_format.pitch_mm / film_format.along_mm * sum(widths_px) / 2
    are_alike = abs(widths_px[0] / widths_px[1] - 1.0) < _SIZE_AGREES
    return are_alike and abs(apart_px / pitch_px - 1.0) <= _FAR_FROM_PITCH


def _in_mosaic(corners: QuadPx, *, is_upright: bool) -> QuadPx:
    points = corners.as_array()
    return QuadPx.from_array(points[[0, 3, 2, 1], ::-1] if is_upright else points).scaled(float(_REDUCTION))


def _none_found(name: str) -> ConversionError:
    return ConversionError(
        f"Two frames side by side were not found in {name}.",
        safe="The RAW is untouched.",
        todo="Convert it without --pairs, or point at each frame with corners_px in a recipe.",
    )
