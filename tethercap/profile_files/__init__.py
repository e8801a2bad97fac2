"""Profiles on disk: where they are looked for, and how one is read without letting a mistake pass."""

from tethercap.profile_files.load import (
    list_film_formats,
    list_profiles,
    load_film_format,
    load_film_formats,
    load_film_kind,
    load_profile,
    read_profile,
)

__all__ = [
    "list_film_formats",
    "list_profiles",
    "load_film_format",
    "load_film_formats",
    "load_film_kind",
    "load_profile",
    "read_profile",
]
