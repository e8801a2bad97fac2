"""Find the picture on the film in a RAW nobody gave corners for."""

import cv2
import numpy as np

from tethercap.check.view import raw_to_view
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture
from tethercap.profile_files import load_film_format, load_film_formats
from tethercap.watch.edges import find_frame_edges
from tethercap.watch.sighting import FrameEdges

_REDUCTION = 4
_LEAST_SHARE = 0.15
"""Share of the RAW that a frame of a format nobody named covers: film is copied large, and a scene's own squares, such
as a chart's patches, make good frames of a small format."""


def find_frame(raw: RawPicture, film_kind: FilmKind, format_id: str | None = None) -> QuadPx | None:
    """Find the frame.

    Parameters
    ----------
    raw : RawPicture
    film_kind : FilmKind
    format_id : str, optional
        Id of the film format; None tries all, which takes some times longer.

    Returns
    -------
    QuadPx or None
        Corners in mosaic pixels; None where the edges cannot be told.
    """
    view = raw_to_view(raw, _REDUCTION)
    film_format = load_film_format(format_id) if format_id else None
    formats = () if film_format is not None else load_film_formats()
    found = find_frame_edges(view, film_format=film_format, film_kind=film_kind, formats=formats)
    if not isinstance(found, FrameEdges):
        return None
    corners = found.corners.scaled(float(_REDUCTION))
    covered = cv2.contourArea(corners.as_array().astype(np.float32)) / raw.mosaic.size
    return corners if film_format is not None or covered >= _LEAST_SHARE else None
