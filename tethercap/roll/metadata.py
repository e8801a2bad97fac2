"""What is known about a picture, as standard metadata properties. Data only: nothing is written here.

Keys are those of the Exiv2 library ("Xmp.dc.subject"), which names the standard each one comes from:

==================== ==================================================================================
dc, xmp, xmpMM, ...  XMP, ISO 16684-1 and its part 2
exif, exifEX, tiff   EXIF in XMP, CIPA DC-010; "Exif." keys: EXIF itself, CIPA DC-008
iptc, iptcExt        IPTC Photo Metadata Standard
photoshop            the namespace in which IPTC keeps DateCreated
tethercap            our own, only for what none of the others covers (`OWN_PROPERTIES`)
==================== ==================================================================================

Two dates are kept apart: DateTimeDigitized is when the film was copied, DateTimeOriginal and photoshop:DateCreated when
the picture was taken, as far as anybody knows.
"""

import uuid
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Final

from tethercap.film.kinds import FilmKind
from tethercap.pictures import ShotData
from tethercap.roll.lines import CameraUsed, Filed
from tethercap.roll.names import FrameId, stem
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import TakeRecord

OWN_PROPERTIES: Final[Mapping[str, str]] = {
    "Roll": "the roll's id",
    "Frame": "number of the frame, as printed on the film's edge",
    "Take": "number of the picture among those taken of the frame",
    "Strip": "number of the strip, as they were put in",
    "FilmKind": "colour-negative, bw-negative or slide",
    "FilmFormat": "format of the frame, like 135-36x24",
    "FilmStock": "the film, as printed on its edge",
    "FilmSpeedIso": "speed the film was exposed for",
    "DevelopedOn": "date of development, as far as known",
    "OriginalCamera": "camera the film was in",
    "OriginalLens": "lens the film was exposed through",
    "OffsetXMm": "frame centre right of the picture's centre, mm on the film",
    "OffsetYMm": "frame centre below the picture's centre, mm on the film",
    "TiltDeg": "frame turned clockwise, degrees",
    "MmPerPx": "size of one pixel on the film, mm",
    "CornersPx": "frame corners x,y in the RAW, clockwise from the top left",
    "Accepted": "whether the picture passed its check",
    "Forced": "whether a person overruled the verdict",
    "FiredBy": "what released the shutter",
    "Findings": "what the check of the RAW found",
    "Rig": "id of the copying set-up",
    "Mirrored": "whether the film lay the other way up",
    "Values": "in archive pictures: what the numbers are, with their zero and scale, as JSON",
    "Steps": "in positives: each step of the conversion with its parameters, as JSON",
    "Warnings": "in positives: what the conversion had to say",
}
"""Name in our own namespace -> what it says."""

_SOURCE_TYPE = "http://cv.iptc.org/newscodes/digitalsourcetype/"
"""IPTC NewsCodes, scheme digitalsourcetype."""
_DIGITAL_STILL_CAMERA = "3"
"""EXIF FileSource of a picture made by a digital still camera: a camera copy of film is one (CIPA DC-008, 4.6.6)."""
_MIRRORED_LEFT_RIGHT = "2"
"""TIFF 6.0, Orientation."""
_ID_SPACE = uuid.UUID("5a5b9a0e-2f3c-5a53-9d5b-6d1f0c1e7c10")

Properties = dict[str, object]
"""Exiv2 key -> text, or a tuple of texts."""


def properties_for(setup: RollSetup, frame_id: FrameId, take: TakeRecord) -> Properties:
    """Properties of a RAW's sidecar. The same roll, frame and take give the same properties.

    Parameters
    ----------
    take : TakeRecord
        Only `take.filed` is looked at.

    Returns
    -------
    dict
        Exiv2 key -> text or tuple of texts; what is not known is left out.
    """
    filed = take.filed
    properties = {
        **_described(setup, frame_id),
        **_copied(filed, setup.copy_lens),
        **_own(setup, frame_id, take.number, filed),
        "Xmp.xmpMM.DocumentID": document_id(filed.sha256),
        "Xmp.xmpMM.OriginalDocumentID": document_id(filed.sha256),
        "Xmp.photoshop.SidecarForExtension": filed.file.rpartition(".")[2].upper(),
        "Xmp.tiff.Orientation": _MIRRORED_LEFT_RIGHT if filed.mirrored else "",
        "Xmp.xmp.CreatorTool": filed.software,
    }
    return _known(properties)


def positive_properties(
    setup: RollSetup, frame_id: FrameId, take: TakeRecord, *, further: Sequence[TakeRecord] = (), made_at: str = ""
) -> Properties:
    """Properties to be embedded in a positive: what the sidecar says, what it was made from, and EXIF for old readers.

    Parameters
    ----------
    further : sequence of TakeRecord
        Other takes that went into it.
    made_at : str
        When the positive was made, ISO 8601 with time zone; left out where not known.
    """
    filed = take.filed
    raw_id = document_id(filed.sha256)
    numbers = sorted(str(each.number) for each in (take, *further))
    history = "Xmp.xmpMM.History[1]/stEvt:"
    properties = {
        **_described(setup, frame_id),
        **_copied(filed, setup.copy_lens),
        **_own(setup, frame_id, take.number, filed),
        **_exif(setup, frame_id, filed),
        "Xmp.xmpMM.OriginalDocumentID": raw_id,
        "Xmp.xmpMM.DocumentID": document_id(f"positive of {filed.sha256}"),
        "Xmp.xmpMM.DerivedFrom/stRef:documentID": raw_id,
        "Xmp.xmpMM.DerivedFrom/stRef:filePath": filed.file,
        f"{history}action": "converted",
        f"{history}when": made_at,
        f"{history}softwareAgent": filed.software,
        f"{history}parameters": f"made of takes {', '.join(numbers)}" if further else "",
        "Xmp.xmp.CreatorTool": filed.software,
        "Xmp.xmp.ModifyDate": made_at,
        **_ingredients([take, *further] if further else []),
    }
    return _known(properties)


def _ingredients(takes: Sequence[TakeRecord]) -> Properties:
    """Name all pictures that a positive of several was made of (XMP part 2, xmpMM:Ingredients)."""
    properties: Properties = {}
    for place, take in enumerate(takes, start=1):
        item = f"Xmp.xmpMM.Ingredients[{place}]/stRef:"
        properties[f"{item}documentID"] = document_id(take.filed.sha256)
        properties[f"{item}filePath"] = take.filed.file
    return properties


def file_properties(file: str, shot: ShotData, film_kind: FilmKind) -> Properties:
    """Properties to be embedded in a positive of a RAW file that is in no roll.

    Parameters
    ----------
    file : str
        Name of the RAW.
    shot : ShotData
        What the RAW says of itself.
    film_kind : FilmKind
    """
    copied = {
        "Exif.Image.Make": shot.camera_make,
        "Exif.Image.Model": shot.camera_model,
        "Exif.Photo.DateTimeDigitized": exif_date(shot.taken_at or ""),
        "Exif.Photo.ExposureTime": _ratio(shot.exposure_s),
        "Exif.Photo.FNumber": _ratio(shot.f_number),
        "Exif.Photo.ISOSpeedRatings": str(shot.iso or ""),
        "Exif.Photo.FocalLength": _ratio(shot.focal_length_mm),
        "Exif.Photo.LensModel": shot.lens_model,
        "Exif.Photo.BodySerialNumber": shot.camera_serial,
        "Exif.Photo.FileSource": _DIGITAL_STILL_CAMERA,
    }
    return _known(
        {
            **copied,
            "Xmp.exif.DateTimeDigitized": shot.taken_at,
            "Xmp.iptcExt.DigitalSourceType": _source_type(film_kind),
            "Xmp.tethercap.FilmKind": film_kind.value,
            "Xmp.xmpMM.DerivedFrom/stRef:filePath": file,
            "Xmp.xmpMM.History[1]/stEvt:action": "converted",
        }
    )


def _source_type(film_kind: FilmKind) -> str:
    return _SOURCE_TYPE + ("negativeFilm" if film_kind.is_negative else "positiveFilm")


def document_id(text: str) -> str:
    """An id for xmpMM made from a picture's SHA-256, so that it is the same whenever it is asked for."""
    return f"uuid:{uuid.uuid5(_ID_SPACE, text)}"


def _known(properties: Properties) -> Properties:
    return {key: value for key, value in properties.items() if value not in ("", (), None)}


def _described(setup: RollSetup, frame_id: FrameId) -> Properties:
    """What a person said about the picture."""
    notes = setup.notes_for(frame_id)
    return {
        "Xmp.dc.title": notes.title or stem(setup.id, frame_id),
        "Xmp.dc.description": notes.caption,
        "Xmp.dc.subject": notes.keywords,
        "Xmp.dc.creator": (setup.creator,) if setup.creator else (),
        "Xmp.dc.rights": setup.rights,
        "Xmp.xmpRights.Marked": "True" if setup.rights else "",
        "Xmp.dc.identifier": stem(setup.id, frame_id),
        "Xmp.dc.source": f"film roll {setup.id}, frame {frame_id}",
        "Xmp.exif.DateTimeOriginal": notes.taken_on,
        "Xmp.photoshop.DateCreated": notes.taken_on,
        "Xmp.iptc.Location": notes.place,
        "Xmp.exif.UserComment": notes.notes,
        "Xmp.iptcExt.DigitalSourceType": _source_type(FilmKind(setup.film_kind)),
    }


def _copied(filed: Filed, copy_lens: str) -> Properties:
    """How the film was copied."""
    shot, camera = filed.shot or ShotData(), filed.camera or CameraUsed()
    return {
        "Xmp.exif.DateTimeDigitized": filed.taken_at,
        "Xmp.xmp.CreateDate": filed.taken_at,
        "Xmp.exif.FileSource": _DIGITAL_STILL_CAMERA,
        "Xmp.tiff.Make": shot.camera_make or camera.make,
        "Xmp.tiff.Model": shot.camera_model or camera.model,
        "Xmp.exifEX.BodySerialNumber": shot.camera_serial or camera.serial,
        "Xmp.exifEX.LensModel": shot.lens_model or copy_lens,
        "Xmp.exif.ExposureTime": _ratio(shot.exposure_s),
        "Xmp.exif.FNumber": _ratio(shot.f_number),
        "Xmp.exif.ISOSpeedRatings": (str(shot.iso),) if shot.iso else (),
        "Xmp.exif.FocalLength": _ratio(shot.focal_length_mm),
    }


def _own(setup: RollSetup, frame_id: FrameId, take: int, filed: Filed) -> Properties:
    """What no standard covers."""
    x_mm, y_mm = filed.offset_mm or (None, None)
    own: Properties = {
        "Roll": setup.id,
        "Frame": str(frame_id),
        "Take": str(take),
        "Strip": str(filed.strip) if filed.strip else "",
        "FilmKind": FilmKind(setup.film_kind).value,
        "FilmFormat": setup.film_format,
        "FilmStock": setup.film_stock,
        "FilmSpeedIso": str(setup.film_speed_iso or ""),
        "DevelopedOn": setup.developed_on,
        "OriginalCamera": setup.original_camera,
        "OriginalLens": setup.original_lens,
        "OffsetXMm": _number(x_mm, 3),
        "OffsetYMm": _number(y_mm, 3),
        "TiltDeg": _number(filed.tilt_deg, 3),
        "MmPerPx": _number(filed.mm_per_px, 7),
        "CornersPx": " ".join(f"{x_px:.1f},{y_px:.1f}" for x_px, y_px in filed.corners_px or ()),
        "Accepted": str(filed.accepted),
        "Forced": "True" if filed.forced else "",
        "FiredBy": filed.fired_by,
        "Findings": "; ".join(f"{finding.severity}: {finding.text}" for finding in filed.findings),
        "Rig": filed.rig,
        "Mirrored": "True" if filed.mirrored else "",
    }
    return {f"Xmp.tethercap.{name}": value for name, value in own.items()}


def _exif(setup: RollSetup, frame_id: FrameId, filed: Filed) -> Properties:
    """EXIF itself. DateTimeOriginal only where the day is known: EXIF has no shorter dates that all readers take."""
    shot, camera, notes = filed.shot or ShotData(), filed.camera or CameraUsed(), setup.notes_for(frame_id)
    return {
        "Exif.Image.Make": shot.camera_make or camera.make,
        "Exif.Image.Model": shot.camera_model or camera.model,
        "Exif.Image.Artist": setup.creator,
        "Exif.Image.Copyright": setup.rights,
        "Exif.Photo.DateTimeDigitized": exif_date(filed.taken_at),
        "Exif.Photo.DateTimeOriginal": exif_date(notes.taken_on),
        "Exif.Photo.ExposureTime": _ratio(shot.exposure_s),
        "Exif.Photo.FNumber": _ratio(shot.f_number),
        "Exif.Photo.ISOSpeedRatings": str(shot.iso or ""),
        "Exif.Photo.FocalLength": _ratio(shot.focal_length_mm),
        "Exif.Photo.LensModel": shot.lens_model or setup.copy_lens,
        "Exif.Photo.BodySerialNumber": shot.camera_serial or camera.serial,
        "Exif.Photo.FileSource": _DIGITAL_STILL_CAMERA,
    }


def exif_date(iso: str) -> str:
    """Date and time as EXIF writes them, "YYYY:MM:DD hh:mm:ss"; "" where the day is not known (CIPA DC-008, 4.6.5)."""
    if len(iso) < len("1998-07-12"):
        return ""
    time = iso[11:19] if len(iso) >= len("1998-07-12T10:00:00") else "00:00:00"
    return f"{iso[:10].replace('-', ':')} {time}"


def _ratio(value: float | None) -> str:
    """A rational as EXIF and XMP write it; short times as 1/n."""
    if value is None or value <= 0:
        return ""
    if value < 0.3:
        nearest = round(1 / value)
        if abs(1 / nearest - value) <= 0.005 * value:
            return f"1/{nearest}"
    ratio = Fraction(value).limit_denominator(10_000)
    return f"{ratio.numerator}/{ratio.denominator}"


def _number(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}f}"
