"""Own keys."""

from pathlib import Path

import pytest

from tethercap.errors import ProfileError
from tethercap.tui.keymap import check_keys, read_keys


def test_no_file_means_no_changes(tmp_path: Path) -> None:
    assert read_keys(tmp_path / "keys.toml") == {}


def test_a_pedal_becomes_a_key(tmp_path: Path) -> None:
    path = tmp_path / "keys.toml"
    path.write_text('fire = "space,pagedown"\n')
    assert read_keys(path) == {"fire": "space,pagedown"}


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('fier = "space"', "Did you mean 'fire'"),
        ('fire = "x"', "would both 'fire' and 'force'"),
        ('fire = "q"', "would both"),
        ("fire = 7", "not understood"),
        ("fire =", "not understood"),
    ],
)
def test_mistakes_are_named(tmp_path: Path, content: str, said: str) -> None:
    path = tmp_path / "keys.toml"
    path.write_text(content)
    with pytest.raises(ProfileError, match=said):
        read_keys(path)


def test_the_programs_own_keys_do_not_collide() -> None:
    check_keys({})
