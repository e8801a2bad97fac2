"""Colours: every text must be readable on its ground, and states must differ by more than colour."""

import pytest
from textual.theme import Theme

from tethercap.tui.hints import Tone
from tethercap.tui.overlay import Rgb
from tethercap.tui.themes import COLOUR_BLIND_SAFE, HIGH_CONTRAST, THEMES, ink_of, rgb_of
from tethercap.tui.widgets.band import SIGNS

TONES = ("tone-ready", "tone-hold", "tone-unsure", "tone-exposing", "tone-busy", "tone-trouble")


def _luminance(colour: Rgb) -> float:
    """Relative luminance: WCAG 2.1, definition "relative luminance"."""
    channels = [value / 255 for value in colour]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: Rgb, other: Rgb) -> float:
    """Contrast ratio: WCAG 2.1, definition "contrast ratio"."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_computed_as_the_standard_does() -> None:
    """WCAG: black on white is 21 to 1; #767676 on white is the well-known 4.54."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
def test_every_text_reaches_the_contrast_of_level_aa(theme: Theme) -> None:
    """WCAG 2.1, success criterion 1.4.3: 4.5 to 1 for text, on both grounds; 3 to 1 for large letters."""
    for ground in ("background", "surface"):
        for text in ("foreground", "faint", "accent", *TONES):
            least = 3.0 if ground == "surface" and theme.name == "safelight" else 4.5
            if text == "faint" and theme.name == "safelight":
                least = 3.0  # deep red on black is the point of it; nothing that must be read is faint
            assert contrast(rgb_of(theme, text), rgb_of(theme, ground)) >= least, (text, ground)
    for tone in TONES:
        assert contrast(rgb_of(theme, "ink"), rgb_of(theme, tone)) >= 4.5, f"large letters on {tone}"


def test_high_contrast_reaches_level_aaa() -> None:
    """WCAG 2.1, success criterion 1.4.6: 7 to 1."""
    for text in ("foreground", "faint", "accent", *TONES):
        assert contrast(rgb_of(HIGH_CONTRAST, text), rgb_of(HIGH_CONTRAST, "background")) >= 7, text


def test_every_tone_has_a_sign_of_its_own() -> None:
    assert set(SIGNS) == set(Tone)
    assert len(set(SIGNS.values())) == len(SIGNS)


def test_ready_and_hold_differ_for_eyes_without_red_or_green() -> None:
    """Without telling red from green, light and blue-yellow remain: ready is blue, hold is yellow."""
    ready, hold = rgb_of(COLOUR_BLIND_SAFE, "tone-ready"), rgb_of(COLOUR_BLIND_SAFE, "tone-hold")
    assert abs(ready[2] - hold[2]) > 120


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
def test_lines_on_the_picture_show_on_dark_film_in_every_theme(theme: Theme) -> None:
    assert contrast(ink_of(theme).edge, (60, 45, 35)) >= 3
