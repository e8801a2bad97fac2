"""The door to EXIF and XMP (exiv2): packets for sidecars, properties into and out of picture files.

Keys are exiv2's names: "Xmp.dc.subject", "Exif.Photo.ISOSpeedRatings". Values are text, numbers, or lists of them.
A path into a structure is a key as well: "Xmp.xmpMM.History[1]/stEvt:action".
"""

import os
import re
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path

import exiv2

from tethercap.errors import StorageError, UnreadablePictureError
from tethercap.pictures import ShotData

OWN_NAMESPACE = "urn:tethercap:film:1.0#"
"""Namespace of the prefix "tethercap", for what no standard property says."""
# The XMP toolkit below keeps tables of its own that two threads must not touch at once.
_LOCK = threading.Lock()
_EXIF_EX_NAMES = frozenset(
    {"BodySerialNumber", "CameraOwnerName", "LensMake", "LensModel", "LensSerialNumber", "LensSpecification"}
)
"""Properties that EXIF gained with version 2.3; in XMP they have a namespace of their own."""
_COUNTERPARTS = {"Exif.Photo.": "Xmp.exif.", "Exif.Image.": "Xmp.tiff.", "Exif.GPSInfo.": "Xmp.exif."}
_LONGEST_VALUE_BYTES = 4096
_NOT_TEXT = frozenset(
    f"Exif.Image.{name}" for name in ("XMLPacket", "InterColorProfile", "StripOffsets", "StripByteCounts")
)
_ARRAY_ITEM = re.compile(r"^(?P<array>.+?)\[(?P<index>\d+)\](?P<rest>/.*)?$")

exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)
exiv2.XmpParser.initialize()
exiv2.XmpProperties.registerNs(OWN_NAMESPACE, "tethercap")


def xmp_packet(properties: Mapping[str, object]) -> bytes:
    """Serialise properties as an XMP packet, the content of a sidecar file.

    Parameters
    ----------
    properties : mapping
        exiv2 key -> value. Keys that begin with "Exif." are written as their XMP counterparts. None and empty
        values are left out.

    Returns
    -------
    bytes
        UTF-8, with the packet wrapper; the same properties give the same bytes.

    Raises
    ------
    ValueError
        If a key is not one exiv2 knows, or a value does not fit it.
    """
    with _LOCK:
        return _packet(properties).encode("utf-8")


def _packet(properties: Mapping[str, object]) -> str:
    xmp = exiv2.XmpData()
    counterparts = {_xmp_key(key): value for key, value in properties.items() if not key.startswith("Xmp.")}
    own = {key: value for key, value in properties.items() if key.startswith("Xmp.")}
    # What is said as XMP wins: its dates have another form, and more room, than those of EXIF.
    _fill(xmp, exiv2.ExifData(), {**counterparts, **own})
    flags = exiv2.XmpParser.XmpFormatFlags
    _, packet = exiv2.XmpParser.encode(xmp, flags.useCompactFormat | flags.readOnlyPacket)
    return str(packet)


def _xmp_key(key: str) -> str:
    """Name of an EXIF property in XMP (Exif 2.32 for XMP, CIPA DC-010)."""
    name = key.rpartition(".")[2]
    if key.startswith("Exif.Photo.") and name in _EXIF_EX_NAMES:
        return f"Xmp.exifEX.{name}"
    for prefix, counterpart in _COUNTERPARTS.items():
        if key.startswith(prefix):
            return counterpart + key.removeprefix(prefix)
    return key


def embed(path: Path, properties: Mapping[str, object]) -> None:
    """Write properties into a picture file in place; what it holds under other keys stays.

    Meant for JPEG proofs and for files made here; the archival RAW is never opened for writing.

    Raises
    ------
    ValueError
        If a key is not one exiv2 knows, or a value does not fit it.
    StorageError
        If the file cannot be written.
    UnreadablePictureError
        If it is no picture exiv2 knows.
    """
    with _LOCK:
        image = _open(path)
        _fill(image.xmpData(), image.exifData(), properties)
        try:
            image.writeMetadata()
        except exiv2.Exiv2Error as error:
            raise StorageError(f"Metadata could not be written into {path}: {error}.") from error


def read(path: Path) -> dict[str, object]:
    """Read EXIF, IPTC and XMP of a picture or a sidecar.

    Returns
    -------
    dict
        exiv2 key -> text, or a list of texts for XMP arrays; the default language's text where there are several.
        EXIF values over 4 KiB, such as maker notes and thumbnails, are left out.

    Raises
    ------
    UnreadablePictureError
        If the file cannot be read or is of no known kind.
    """
    with _LOCK:
        image = _open(path)
        found: dict[str, object] = {
            datum.key(): _readable(datum.toString())
            for datum in image.exifData()
            if datum.size() <= _LONGEST_VALUE_BYTES and datum.key() not in _NOT_TEXT
        }
        found.update({datum.key(): _readable(datum.toString()) for datum in image.iptcData()})
        found.update({datum.key(): _plain(datum.value()) for datum in image.xmpData()})
        return found


def read_shot(path: Path) -> ShotData:
    """Read what a RAW says about its own exposure; everything is None where exiv2 does not know the file."""
    try:
        with _LOCK:
            exif = _open(path).exifData()
            return _shot_data(exif)
    except UnreadablePictureError:
        return ShotData()


def _shot_data(exif: "exiv2.ExifData") -> ShotData:
    def text(*keys: str) -> str | None:
        for key in keys:
            datum = exif.findKey(exiv2.ExifKey(key))
            if datum != exif.end() and datum.toString().strip():
                return _readable(datum.toString()).strip()
        return None

    def number(*keys: str) -> float | None:
        for key in keys:
            datum = exif.findKey(exiv2.ExifKey(key))
            if datum != exif.end() and datum.count() and datum.toFloat() > 0:
                return float(_ratio(datum.toString()))
        return None

    iso = number("Exif.Photo.ISOSpeedRatings", "Exif.Image.ISOSpeedRatings")
    subseconds = text("Exif.Photo.SubSecTimeOriginal")
    moment = text("Exif.Photo.DateTimeOriginal", "Exif.Image.DateTimeOriginal", "Exif.Image.DateTime")
    return ShotData(
        exposure_s=number("Exif.Photo.ExposureTime", "Exif.Image.ExposureTime"),
        f_number=number("Exif.Photo.FNumber", "Exif.Image.FNumber"),
        iso=None if iso is None else round(iso),
        taken_at=_iso_moment(moment, subseconds),
        camera_make=text("Exif.Image.Make"),
        camera_model=text("Exif.Image.Model", "Exif.Image.UniqueCameraModel"),
        camera_serial=text("Exif.Photo.BodySerialNumber", "Exif.Image.CameraSerialNumber"),
        lens_model=text("Exif.Photo.LensModel"),
        focal_length_mm=number("Exif.Photo.FocalLength", "Exif.Image.FocalLength"),
    )


def _readable(text: str) -> str:
    """Text as it can be written again: bytes that are no UTF-8 are taken for Latin-1, as some makers write names.

    The standard has 7 bits alone (CIPA DC-008, 4.6.2).
    """
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return text.encode("utf-8", "surrogateescape").decode("latin-1")
    return text


def _ratio(text: str) -> float:
    numerator, _, denominator = text.split()[0].partition("/")
    return float(numerator) / float(denominator or 1)


def _iso_moment(exif_moment: str | None, subseconds: str | None) -> str | None:
    if exif_moment is None or len(exif_moment) < 19:
        return None
    moment = f"{exif_moment[:10].replace(':', '-')}T{exif_moment[11:19]}"
    return f"{moment}.{subseconds}" if subseconds and subseconds.isdigit() else moment


def require_plain_name(path: Path) -> None:
    """Refuse a name that the libraries below cannot be told.

    Raises
    ------
    UnreadablePictureError
        If it is not UTF-8, as names that another system wrote long ago may be.
    """
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError as error:
        shown = os.fsencode(path).decode("utf-8", "backslashreplace")
        raise UnreadablePictureError(
            f"{shown} has a name that is not valid text (UTF-8).", safe="Nothing was changed.", todo="Rename the file."
        ) from error


def _open(path: Path) -> "exiv2.Image":
    require_plain_name(path)
    try:
        image = exiv2.ImageFactory.open(str(path))
        image.readMetadata()
    except exiv2.Exiv2Error as error:
        raise UnreadablePictureError(f"The metadata of {path} cannot be read: {error}.") from error
    return image


def _fill(xmp: "exiv2.XmpData", exif: "exiv2.ExifData", properties: Mapping[str, object]) -> None:
    for key, value in properties.items():
        if value is None or value == "" or value == []:
            continue
        try:
            if key.startswith("Xmp."):
                _make_parents(xmp, key)
                xmp[key] = _xmp_value(key, value)
            else:
                exif[key] = _exif_text(value)
        except (exiv2.Exiv2Error, ValueError, TypeError) as error:
            raise ValueError(f"{key} = {value!r} is not a property that can be written: {error}") from error


def _make_parents(xmp: "exiv2.XmpData", key: str) -> None:
    """Make the array and structure that an item's path runs through; exiv2 wants them said first."""
    found = _ARRAY_ITEM.match(key)
    if found is None:
        return
    if xmp.findKey(exiv2.XmpKey(found["array"])) == xmp.end():
        array = exiv2.XmpTextValue()
        is_bag = exiv2.XmpProperties.propertyType(exiv2.XmpKey(found["array"])) == exiv2.TypeId.xmpBag
        kinds = exiv2.XmpValue.XmpArrayType
        array.setXmpArrayType(kinds.xaBag if is_bag else kinds.xaSeq)
        xmp.add(exiv2.XmpKey(found["array"]), array)


def _xmp_value(key: str, value: object) -> object:
    if isinstance(value, bool):
        return "True" if value else "False"
    if isinstance(value, str):
        return value
    if isinstance(value, Sequence):
        kind = exiv2.XmpProperties.propertyType(exiv2.XmpKey(key))
        # What no standard knows is ours, and lists of ours are in order.
        is_ordered = kind == exiv2.TypeId.xmpSeq or key.startswith("Xmp.tethercap.")
        return exiv2.XmpArrayValue(
            [str(item) for item in value], exiv2.TypeId.xmpSeq if is_ordered else exiv2.TypeId.xmpBag
        )
    return str(value)


def _exif_text(value: object) -> str:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return " ".join(str(item) for item in value)
    return str(value)


def _plain(value: "exiv2.XmpValue") -> object:
    if isinstance(value, exiv2.XmpArrayValue):
        return [str(value.toString(index)) for index in range(value.count())]
    if isinstance(value, exiv2.LangAltValue):
        return str(value.toString("x-default") if "x-default" in value else value.toString(0))
    return str(value.toString())
