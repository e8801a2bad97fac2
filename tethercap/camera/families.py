"""What differs from family to family when the same driver speaks to them; data only.

Every entry follows from the driver's own code for that family (libgphoto2 2.5.33, camlibs/ptp2), measured against a
simulated body or read in its source. Nothing here describes a single model.
"""

from dataclasses import dataclass
from enum import StrEnum


class Family(StrEnum):
    """Groups of bodies that the driver treats alike, named by what they report as manufacturer."""

    CANON = "canon"
    FUJI = "fuji"
    NIKON = "nikon"
    OLYMPUS = "olympus"
    PANASONIC = "panasonic"
    SIGMA = "sigma"
    SONY = "sony"
    STANDARD = "standard"


@dataclass(frozen=True, slots=True)
class FamilyTraits:
    """How to treat a family."""

    never_set: frozenset[str] = frozenset()
    """Settings whose setter in the driver writes outside its memory."""
    card_target: tuple[tuple[str, str], ...] = ()
    """(setting, value) pairs that make the body keep pictures on its card, in the order to try."""
    release: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Settings to write in turn that fire faster than the driver's trigger, each with the names that versions of the
    driver gave to the same value, best first; empty where the trigger is fastest."""
    switch_on_first: bool = False
    """Live view must be switched on before a picture is asked for: the driver believes it still on after it was off."""
    whole_files: bool = False
    """Pull files in one piece: the bodies do not like partial reads."""
    refused: str = ""
    """Why the driver cannot be used with this family at all; empty where it can."""
    hints: tuple[str, ...] = ()
    """What to turn on the body if it offers no capture."""


TRAITS: dict[Family, FamilyTraits] = {
    Family.STANDARD: FamilyTraits(card_target=(("capturetarget", "Memory card"),)),
    Family.NIKON: FamilyTraits(card_target=(("capturetarget", "Memory card"),)),
    Family.CANON: FamilyTraits(
        card_target=(("capturetarget", "Memory card"),),
        switch_on_first=True,
        # Press without focusing and let go: 3-6 ms in the driver. Its trigger half-presses first and takes 153 ms.
        release=(
            ("eosremoterelease", ("Press Full MF", "Press Full")),
            ("eosremoterelease", ("Release", "Release Full")),
        ),
    ),
    # By its name the driver sends an empty value. By number it sends 17, card and memory both: it sees no picture else.
    Family.SONY: FamilyTraits(card_target=(("d222", "17"),), hints=("Set the camera's USB menu to PC Remote.",)),
    Family.FUJI: FamilyTraits(whole_files=True, hints=("Set the camera's USB menu to tether shooting, auto.",)),
    Family.OLYMPUS: FamilyTraits(hints=("Choose the tether or PC mode when the camera asks, or in its USB menu.",)),
    Family.PANASONIC: FamilyTraits(
        # Their setters write through the address of a local array; the process dies.
        never_set=frozenset({"capturetarget", "manualfocusdrive", "recordmode", "liveviewsize"}),
        hints=("Set the camera's USB menu to tether mode, and set where pictures are kept on the camera itself.",),
    ),
    Family.SIGMA: FamilyTraits(
        refused="The driver frees the same memory twice when it opens this maker's tethered bodies, and dies.",
        hints=("Use another body; pictures can still be copied from the card with a card reader.",),
    ),
}


def family_of(manufacturer: str, model: str = "") -> Family:
    """Return the family of a body from what it reports about itself.

    Parameters
    ----------
    manufacturer, model : str
        As the body says them, any case.
    """
    said = f"{manufacturer} {model}".lower()
    for word, family in (
        ("canon", Family.CANON),
        ("nikon", Family.NIKON),
        ("sony", Family.SONY),
        ("fuji", Family.FUJI),
        ("panasonic", Family.PANASONIC),
        ("olympus", Family.OLYMPUS),
        ("om digital", Family.OLYMPUS),
        ("omsystem", Family.OLYMPUS),
        ("sigma", Family.SIGMA),
    ):
        if word in said:
            return family
    return Family.STANDARD
