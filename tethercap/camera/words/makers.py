"""Whose camera it is: decides where a number without a name is looked for, and which menu a sentence speaks of."""

from collections.abc import Mapping
from enum import StrEnum

from tethercap.camera.words.widgets import Widget


class Maker(StrEnum):
    """Makers whose protocols differ."""

    CANON = "canon"
    NIKON = "nikon"
    SONY = "sony"
    FUJIFILM = "fujifilm"
    OLYMPUS = "olympus"
    PANASONIC = "panasonic"
    RICOH = "ricoh"
    LEICA = "leica"
    OTHER = "other"


_SIGNS: dict[str, Maker] = {
    "canon": Maker.CANON,
    "nikon": Maker.NIKON,
    "sony": Maker.SONY,
    "fuji": Maker.FUJIFILM,
    "olympus": Maker.OLYMPUS,
    "omsystem": Maker.OLYMPUS,
    "om digital": Maker.OLYMPUS,
    "panasonic": Maker.PANASONIC,
    "ricoh": Maker.RICOH,
    "pentax": Maker.RICOH,
    "leica": Maker.LEICA,
}
_MODEL_STARTS: tuple[tuple[tuple[str, ...], Maker], ...] = (
    (("eos", "powershot", "ixus"), Maker.CANON),
    (("ilce", "slt", "dsc-", "nex", "ilca", "zv-"), Maker.SONY),
    (("x-", "gfx", "finepix"), Maker.FUJIFILM),
    (("e-m", "e-p", "om-", "pen-"), Maker.OLYMPUS),
    (("dmc-", "dc-"), Maker.PANASONIC),
)


def maker_of(widgets: Mapping[str, Widget], model: str = "", make: str = "") -> Maker:
    """Tell the maker from what the camera calls its maker, else from its model name, else from the driver's labels.

    Parameters
    ----------
    widgets : mapping of str to Widget
        By name.
    model, make : str
        As found at discovery or in a dump's heading; may be empty.
    """
    claimed = make or _text(widgets, "manufacturer")
    name = model or _text(widgets, "cameramodel")
    labels = " ".join(widget.label for widget in widgets.values())
    for text in (claimed, name):
        if (maker := _named_in(text)) is not None:
            return maker
    for starts, maker in _MODEL_STARTS:
        if name.casefold().startswith(starts):
            return maker
    return _named_in(labels) or Maker.OTHER


def _named_in(text: str) -> Maker | None:
    folded = text.casefold()
    return next((maker for sign, maker in _SIGNS.items() if sign in folded), None)


def _text(widgets: Mapping[str, Widget], name: str) -> str:
    return widgets[name].current_text if name in widgets else ""
