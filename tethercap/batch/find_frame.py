"""Find the picture on the film in a RAW nobody gave corners for."""

from tethercap.check.view import raw_to_view
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture
from tethercap.profile_files import load_film_format, load_film_formats
from tethercap.watch.edges import find_frame_edges
from tethercap.watch.sighting import FrameEdges

_REDUCTION = 4


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
    return found.corners.scaled(float(_REDUCTION))
