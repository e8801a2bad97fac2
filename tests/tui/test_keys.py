"""Preferences and own keys."""

from pathlib import Path

import pytest

from tethercap.errors import ProfileError
from tethercap.tui.app import TerminalApp
from tethercap.tui.keymap import check_keys
from tethercap.tui.preferences import Preferences, read_preferences
from tethercap.tui.screens.help import HelpScreen
from tethercap.tui.themes import THEMES


def test_no_file_means_defaults(tmp_path: Path) -> None:
    assert read_preferences(tmp_path / "screen.toml") == Preferences()


def test_a_pedal_becomes_a_key_and_colours_are_chosen(tmp_path: Path) -> None:
    path = tmp_path / "screen.toml"
    path.write_text('theme = "high contrast"\nbells = false\n[keys]\nfire = "space,pagedown"\n')
    assert read_preferences(path) == Preferences(theme="high contrast", bells=False, keys={"fire": "space,pagedown"})


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('[keys]\nfier = "space"', "Did you mean 'fire'"),
        ('[keys]\nfire = "x"', "would both 'fire' and 'force'"),
        ('[keys]\nfire = "q"', "would both"),
        ("[keys]\nfire = 7", "not understood"),
        ("theme =", "not understood"),
        ('theme = "pink"', "not understood"),
        ('them = "dark"', "not understood"),
    ],
)
def test_mistakes_are_named(tmp_path: Path, content: str, said: str) -> None:
    path = tmp_path / "screen.toml"
    path.write_text(content)
    with pytest.raises(ProfileError, match=said):
        read_preferences(path)


def test_the_programs_own_keys_do_not_collide() -> None:
    check_keys({})


@pytest.mark.parametrize("theme", [theme.name for theme in THEMES])
def test_every_theme_can_be_preferred(theme: str, tmp_path: Path) -> None:
    path = tmp_path / "screen.toml"
    path.write_text(f'theme = "{theme}"\n')
    assert read_preferences(path).theme == theme


async def test_preferences_reach_the_program() -> None:
    from tethercap.tui.actions import Where

    app = TerminalApp(lambda: HelpScreen(Where.CAPTURE), preferences=Preferences(theme="light", reduced_motion=True))
    async with app.run_test() as pilot:
        await pilot.pause()
        assert app.theme == "light"
        assert app.animation_level == "none"
