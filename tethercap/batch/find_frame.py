"""Find the picture on the film in a RAW nobody gave corners for."""

from tethercap.check.view import raw_to_view
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture
from tethercap.profile_files import load_film_formats
from tethercap.watch.edges import find_frame_edges
from tethercap.watch.sighting import FrameEdges

_REDUCTION = 4


def find_frame(raw: RawPicture, film_kind: FilmKind) -> QuadPx | None:
    """Find the frame.

    Parameters
    ----------
    raw : RawPicture
    film_kind : FilmKind

    Returns
    -------
    QuadPx or None
        Corners in mosaic pixels; None where the edges cannot be told.
    """
    view = raw_to_view(raw, _REDUCTION)
    found = find_frame_edges(view, film_format=None, film_kind=film_kind, formats=load_film_formats())
    if not isinstance(found, FrameEdges):
        return None
    return found.corners.scaled(float(_REDUCTION))
