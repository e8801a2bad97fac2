"""Film models for rolls on which nothing was measured but the base."""

from tethercap.convert.film_model import FilmModel
from tethercap.film.kinds import FilmKind

_GENERIC = {
    FilmKind.COLOUR_NEGATIVE: FilmModel(
        film_kind=FilmKind.COLOUR_NEGATIVE,
        gamma=(0.55, 0.60, 0.65),
        toe=0.25,
        density_matrix=((1.15, -0.10, -0.05), (-0.10, 1.20, -0.10), (-0.05, -0.15, 1.20)),
        light_matrix=((1.25, -0.20, -0.05), (-0.10, 1.20, -0.10), (0.0, -0.15, 1.15)),
        source="estimate",
    ),
    FilmKind.BW_NEGATIVE: FilmModel(film_kind=FilmKind.BW_NEGATIVE, source="estimate"),
    FilmKind.SLIDE: FilmModel(film_kind=FilmKind.SLIDE, source="estimate"),
}


def generic_model(film_kind: FilmKind) -> FilmModel:
    """Model of a kind of film at large."""
    return _GENERIC[film_kind]
