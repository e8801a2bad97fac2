"""Colours, by what they mean. Each theme fills the same names, so no screen knows a colour."""

from textual.theme import Theme

from tethercap.tui.overlay import Ink, Rgb


def _variables(ground: str, raised: str, faint: str, tones: dict[str, str]) -> dict[str, str]:
    return {
        "tone-ready": tones["ready"],
        "tone-hold": tones["hold"],
        "tone-unsure": tones["unsure"],
        "tone-exposing": tones["exposing"],
        "tone-busy": tones["busy"],
        "tone-trouble": tones["trouble"],
        "tone-quiet": raised,
        "ink": tones.get("ink", ground),
        "faint": faint,
        "footer-background": ground,
        "input-cursor-background": tones["accent"],
        "input-selection-background": f"{tones['accent']} 30%",
        "block-cursor-background": tones["accent"],
        "block-cursor-foreground": ground,
        "border": faint,
        "scrollbar": raised,
        "scrollbar-background": ground,
    }


def _theme(name: str, *, dark: bool, ground: str, raised: str, text: str, faint: str, tones: dict[str, str]) -> Theme:
    """Build a theme; `tones` gives ready, hold, unsure, exposing, busy, trouble, accent."""
    return Theme(
        name=name,
        dark=dark,
        primary=tones["accent"],
        secondary=tones["busy"],
        accent=tones["accent"],
        foreground=text,
        background=ground,
        surface=raised,
        panel=raised,
        success=tones["ready"],
        warning=tones["hold"],
        error=tones["trouble"],
        luminosity_spread=0.12,
        text_alpha=1.0,
        variables=_variables(ground, raised, faint, tones),
    )


DARK = _theme(
    "dark",
    dark=True,
    ground="#15120f",
    raised="#231e19",
    text="#ebe3d5",
    faint="#94897a",
    tones={
        "ready": "#57cc8f",
        "hold": "#f3b13f",
        "unsure": "#bba4f0",
        "exposing": "#ff6a4d",
        "busy": "#6fb4f2",
        "trouble": "#ff7d6b",
        "accent": "#f3b13f",
    },
)
LIGHT = _theme(
    "light",
    dark=False,
    ground="#f6f2ea",
    raised="#e7e0d3",
    text="#241f19",
    faint="#6b6255",
    tones={
        "ready": "#0b6b3b",
        "hold": "#8a5300",
        "unsure": "#6240b5",
        "exposing": "#b3260f",
        "busy": "#0d5c9e",
        "trouble": "#b3260f",
        "accent": "#8a5300",
    },
)
HIGH_CONTRAST = _theme(
    "high contrast",
    dark=True,
    ground="#000000",
    raised="#1c1c1c",
    text="#ffffff",
    faint="#d0d0d0",
    tones={
        "ready": "#4dff9a",
        "hold": "#ffe14d",
        "unsure": "#e0c2ff",
        "exposing": "#ff9c8a",
        "busy": "#8fd0ff",
        "trouble": "#ff9c8a",
        "accent": "#ffe14d",
    },
)
# Blue, yellow, vermilion and white-grey of the set by Okabe and Ito ("Color Universal Design", 2008): told apart with
# any common colour vision. Red and green never stand against each other.
COLOUR_BLIND_SAFE = _theme(
    "colour-blind safe",
    dark=True,
    ground="#10131a",
    raised="#1d222d",
    text="#eef1f6",
    faint="#939cab",
    tones={
        "ready": "#56b4e9",
        "hold": "#f0e442",
        "unsure": "#cfd4dd",
        "exposing": "#e58a3c",
        "busy": "#8fa8d8",
        "trouble": "#e58a3c",
        "accent": "#f0e442",
    },
)
SAFELIGHT = _theme(
    "safelight",
    dark=True,
    ground="#0d0302",
    raised="#220806",
    text="#ff8d6e",
    faint="#a3452f",
    tones={
        "ready": "#ffc0a8",
        "hold": "#ff7043",
        "unsure": "#d9604a",
        "exposing": "#ff3b1f",
        "busy": "#c9553a",
        "trouble": "#ff3b1f",
        "accent": "#ff8d6e",
    },
)
NO_COLOUR = _theme(
    "no colour",
    dark=True,
    ground="#000000",
    raised="#222222",
    text="#ffffff",
    faint="#b0b0b0",
    tones={
        "ready": "#ffffff",
        "hold": "#c8c8c8",
        "unsure": "#a8a8a8",
        "exposing": "#ffffff",
        "busy": "#c8c8c8",
        "trouble": "#ffffff",
        "accent": "#ffffff",
    },
)

THEMES: tuple[Theme, ...] = (DARK, LIGHT, HIGH_CONTRAST, COLOUR_BLIND_SAFE, SAFELIGHT, NO_COLOUR)
"""In the order in which the key goes through them."""


def _rgb(colour: str) -> Rgb:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def rgb_of(theme: Theme, name: str) -> Rgb:
    """Colour of a theme by name ("background", "surface", "foreground", "accent", "faint", "tone-ready"...)."""
    colour = theme.variables.get(name) or getattr(theme, name, None) or theme.foreground or "#ffffff"
    return _rgb(str(colour))


def ink_of(theme: Theme) -> Ink:
    """Colours in which the live picture is drawn on, for a theme; found frames are drawn in the accent."""
    ground = _rgb(str(theme.background))
    accent = theme.primary if theme.dark else "#ffb03a"  # the picture stays a picture: pale lines on it in every theme
    return Ink(surround=ground, edge=_rgb(accent), arrow=_rgb(accent), label=(12, 10, 9))
