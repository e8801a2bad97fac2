"""One picture on its own: what `inspect` shows, and how a RAW is checked after the shot."""

from collections.abc import Sequence

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import SizePx
from tethercap.pictures import U8Array
from tethercap.watch.alignment import measure_alignment
from tethercap.watch.decision import decide
from tethercap.watch.edges import NotSeen, find_frame_edges
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import Sighting

_STRICT = Limits()


def inspect_still(
    pixels_bgr: U8Array,
    *,
    film_format: FilmFormat | None,
    film_kind: FilmKind | None = None,
    mm_per_px: float | None = None,
    formats: Sequence[FilmFormat] = (),
    limits: Limits = _STRICT,
) -> Sighting:
    """Find the frame in one picture and judge how it lies; motion is unknown.

    Parameters
    ----------
    pixels_bgr : ndarray
        Shape (height, width, 3), uint8, display-encoded; blue, green, red.
    film_format, film_kind, mm_per_px, formats
        As for `edges.find_frame_edges`.
    limits : Limits
        What is good enough.

    Raises
    ------
    ValueError
        As `edges.find_frame_edges`.
    """
    found = find_frame_edges(
        pixels_bgr, film_format=film_format, film_kind=film_kind, mm_per_px=mm_per_px, formats=formats
    )
    if isinstance(found, NotSeen):
        verdict = decide(None, None, None, limits, not_seen=found.reasons)
        return Sighting(0, 0.0, verdict, None, None, None, False, found.film_present, found.film_kind)
    alignment = measure_alignment(found, SizePx(pixels_bgr.shape[1], pixels_bgr.shape[0]))
    verdict = decide(found, alignment, None, limits, film_format=film_format)
    return Sighting(0, 0.0, verdict, found, alignment, None, False, True, found.film_kind)
