"""What is known about a picture, as standard metadata properties. Data only: nothing is written here.

Keys are those of the Exiv2 library ("Xmp.dc.subject"); values are text, or a tuple of texts for properties that hold
several. A property of our own is used only where no standard one exists.
"""

from typing import Final

from tethercap.roll.names import FrameId
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import TakeRecord

NAMESPACE_URI: Final = "http://tethercap.invalid/ns/film-copy/1.0/"
NAMESPACE_PREFIX: Final = "tethercap"


def properties_for(setup: RollSetup, frame_id: FrameId, take: TakeRecord) -> dict[str, object]:
    """Properties of a RAW's sidecar.

    Returns
    -------
    dict
        Exiv2 key -> text or tuple of texts.
    """
    notes = setup.notes_for(frame_id)
    properties: dict[str, object] = {"Xmp.dc.identifier": f"{setup.id} {frame_id}"}
    if notes.keywords:
        properties["Xmp.dc.subject"] = notes.keywords
    if setup.creator:
        properties["Xmp.dc.creator"] = (setup.creator,)
    return properties
