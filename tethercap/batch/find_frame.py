"""Find the picture on the film in a RAW nobody gave corners for."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tethercap.check.view import raw_to_view
from tethercap.convert.cells import measure_cells
from tethercap.convert.chart_frames import cuts_chart
from tethercap.errors import PictureError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx
from tethercap.image_files.raw import open_raw
from tethercap.pictures import RawPicture, U8Array
from tethercap.profile_files import load_film_format, load_film_formats
from tethercap.watch.edges import find_frame_edges
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import FrameEdges

_REDUCTION = 4
_LIMITS = Limits()
_LEAST_SHARE, _SURE_SHARE = 0.15, 0.7
"""Share of the RAW that a frame of a format nobody named covers at least, since film is copied large; and from which on
it is no part of a scene."""


@dataclass(frozen=True, slots=True)
class SharedFrame:
    """What the files of a set agree on, though nobody said it."""

    format_id: str
    mm_per_px: float
    """Of the mosaic."""
    size: SizePx
    """Of the mosaic; a picture of another size has another scale."""


def find_frame(
    raw: RawPicture, film_kind: FilmKind, format_id: str | None = None, shared: SharedFrame | None = None
) -> QuadPx | None:
    """Find the frame.

    Parameters
    ----------
    raw : RawPicture
    film_kind : FilmKind
    format_id : str, optional
        Id of the film format; None tries all, which takes some times longer.
    shared : SharedFrame, optional
        What the files of its set agree on; where the frame is not found by it, it is looked for without.

    Returns
    -------
    QuadPx or None
        Corners in mosaic pixels; None where the edges cannot be told.
    """
    view = raw_to_view(raw, _REDUCTION)
    if shared is not None and shared.size == raw.size:
        mm_per_px = shared.mm_per_px * _REDUCTION
        by_set = load_film_format(shared.format_id)
        found = find_frame_edges(view, film_format=by_set, film_kind=film_kind, mm_per_px=mm_per_px)
        if isinstance(found, FrameEdges) and found.confidence >= _LIMITS.accept_confidence:
            return found.corners.scaled(float(_REDUCTION))
    edges = _edges_in(view, film_kind, format_id)
    if edges is None:
        return None
    corners = edges.corners.scaled(float(_REDUCTION))
    return corners if format_id or _is_frame_of_film(corners, raw) else None


def _edges_in(view: U8Array, film_kind: FilmKind, format_id: str | None) -> FrameEdges | None:
    """Look for the frame in a view, of one format or of any."""
    film_format = load_film_format(format_id) if format_id else None
    formats = () if film_format is not None else load_film_formats()
    found = find_frame_edges(view, film_format=film_format, film_kind=film_kind, formats=formats)
    return found if isinstance(found, FrameEdges) else None


@dataclass(frozen=True, slots=True)
class SeenFrame:
    """A frame of a format nobody named, found in one file."""

    frame: SharedFrame
    confidence: float
    """0..1."""


def see_frame(raw_path: Path, film_kind: FilmKind, format_id: str | None) -> SeenFrame | None:
    """Find format and scale of the frame in one file; None where they cannot be told, or the file not be read.

    Parameters
    ----------
    raw_path : Path
    film_kind : FilmKind
    format_id : str or None
        Id of the film format, if it is known.
    """
    try:
        with open_raw(raw_path) as raw:
            edges = _edges_in(raw_to_view(raw, _REDUCTION), film_kind, format_id)
            if edges is None or not _is_frame_of_film(edges.corners.scaled(float(_REDUCTION)), raw):
                return None
            return SeenFrame(SharedFrame(edges.format_id, edges.mm_per_px / _REDUCTION, raw.size), edges.confidence)
    except PictureError:
        return None


def frame_of_set(seen: Sequence[SeenFrame | None]) -> SharedFrame | None:
    """What the files of a set agree on, by some of them.

    Parameters
    ----------
    seen : sequence
        What was found in each of these; None where nothing was.

    Returns
    -------
    SharedFrame or None
        None where they do not agree, or too few show it clearly.
    """
    kinds: dict[tuple[str, SizePx], list[SeenFrame]] = {}
    for one in seen:
        if one is not None:
            kinds.setdefault((one.frame.format_id, one.frame.size), []).append(one)
    weights = {kind: sum(one.confidence**2 for one in of_kind) for kind, of_kind in kinds.items()}
    best = max(weights, key=lambda kind: weights[kind], default=None)
    if best is None or 2 * weights[best] - sum(weights.values()) < _LEAD:
        return None
    scales = [one.frame.mm_per_px for one in kinds[best] if one.confidence >= _LIMITS.least_confidence]
    mm_per_px = float(np.median(scales))
    if max(abs(scale / mm_per_px - 1) for scale in scales) > _SAME_SCALE:
        return None
    return SharedFrame(best[0], mm_per_px, best[1])


_LEAD = 1.5
"""Two files that show a format clearly are enough, where nothing speaks against it."""
_SAME_SCALE = 0.02
"""By how much the scales of one set may differ, as a share: frames of one camera on one rig."""


def _is_frame_of_film(corners: QuadPx, raw: RawPicture) -> bool:
    """Say whether it is more than a square in the scene, as the patches of a chart make good ones of a small format."""
    share = cv2.contourArea(corners.as_array().astype(np.float32)) / raw.mosaic.size
    if not _LEAST_SHARE <= share < _SURE_SHARE:
        return bool(share >= _SURE_SHARE)
    cells = measure_cells(raw)
    density = -np.log10(np.maximum(cells.counts.astype(np.float64), 0.5))
    return not cuts_chart(density, corners.scaled(1.0 / cells.cell_px))
