from pathlib import Path

import pytest

from tethercap.errors import ProfileError
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import (
    list_film_formats,
    load_film_format,
    load_film_formats,
    load_film_kind,
    load_profile,
    read_profile,
)
from tethercap.profile_files.find import profile_folders, shipped_folder

GOOD = (shipped_folder() / "film_formats" / "135-36x24.toml").read_text(encoding="utf-8")


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / "profiles" / "film_formats" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_every_shipped_format_is_named_and_plausible() -> None:
    assert set(list_film_formats()) >= {
        "135-36x24", "135-18x24", "135-65x24", "120-6x4.5", "120-6x6", "120-6x7", "120-6x9",
    }  # fmt: skip
    for film_format in load_film_formats():
        assert 0 < film_format.gap_mm < 8, film_format.id
        assert film_format.across_mm < film_format.strip_width_mm


def test_dot_in_an_id_is_part_of_it() -> None:
    assert load_film_format("120-6x4.5").along_mm == 41.5


def test_every_kind_is_shipped() -> None:
    for kind in FilmKind:
        assert load_film_kind(kind).id is kind


def test_unknown_field_names_file_key_and_nearest(tmp_path: Path) -> None:
    path = write(tmp_path, "135-36x24.toml", GOOD.replace("[perforations]\npitch_mm", "[perforations]\nptich_mm"))
    with pytest.raises(ProfileError, match=r'135-36x24\.toml.*"perforations\.ptich_mm".*did you mean "pitch_mm"'):
        read_profile(path, FilmFormat)


def test_wrong_type_names_the_field(tmp_path: Path) -> None:
    path = write(tmp_path, "135-36x24.toml", GOOD.replace("along_mm = 36.0", 'along_mm = "36"'))
    with pytest.raises(ProfileError, match=r"along_mm"):
        read_profile(path, FilmFormat)


def test_missing_field_names_it(tmp_path: Path) -> None:
    path = write(tmp_path, "135-36x24.toml", GOOD.replace("strip_width_mm = 34.975\n", ""))
    with pytest.raises(ProfileError, match=r"strip_width_mm"):
        read_profile(path, FilmFormat)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (GOOD.replace("schema = 1", "schema = 2"), "schema 2"),
        ("this is not toml", "not valid TOML"),
        (GOOD, "file's name"),
    ],
)
def test_refuses(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(ProfileError, match=match):
        read_profile(write(tmp_path, "other.toml", text), FilmFormat)


def test_unknown_id_offers_the_nearest() -> None:
    with pytest.raises(ProfileError, match=r'did you mean "135-36x24"'):
        load_film_format("135-36x25")


def test_project_profile_wins_over_the_shipped_one(tmp_path: Path) -> None:
    write(tmp_path, "135-36x24.toml", GOOD.replace("pitch_mm = 38.0", "pitch_mm = 38.3"))
    assert load_film_format("135-36x24", project=tmp_path).pitch_mm == 38.3
    assert load_film_format("135-36x24").pitch_mm == 38.0


def test_a_profile_of_any_type_can_be_had(tmp_path: Path) -> None:
    write(tmp_path, "mine.toml", GOOD.replace('"135-36x24"', '"mine"'))
    assert load_profile("film_formats", "mine", FilmFormat, project=tmp_path).id == "mine"


def test_folders_are_nearest_first(tmp_path: Path) -> None:
    folders = profile_folders(tmp_path)
    assert folders[0] == (tmp_path / "profiles").resolve()
    assert folders[-1] == shipped_folder().resolve()


def test_missing_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read"):
        read_profile(tmp_path / "none.toml", FilmFormat)
