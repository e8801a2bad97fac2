"""EXIF as bytes (CIPA DC-008, 4.6; TIFF 6.0, section 2): little-endian directories for TIFF and JPEG files."""

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

EXIF_POINTER_TAG = 34665
_ASCII, _SHORT, _LONG, _RATIONAL, _UNDEFINED = 2, 3, 4, 5, 7
_ENTRY_BYTES = 12
_LARGEST_UNSIGNED = 2**32 - 1

_PHOTO_TAGS = {
    "ExposureTime": (33434, _RATIONAL),
    "FNumber": (33437, _RATIONAL),
    "ISOSpeedRatings": (34855, _SHORT),
    "DateTimeOriginal": (36867, _ASCII),
    "DateTimeDigitized": (36868, _ASCII),
    "FocalLength": (37386, _RATIONAL),
    "FileSource": (41728, _UNDEFINED),
    "BodySerialNumber": (42033, _ASCII),
    "LensModel": (42036, _ASCII),
}
_IMAGE_TAGS = {
    "ImageDescription": (270, _ASCII),
    "Make": (271, _ASCII),
    "Model": (272, _ASCII),
    "DateTime": (306, _ASCII),
    "Artist": (315, _ASCII),
    "Copyright": (33432, _ASCII),
}
_VERSION = (36864, _UNDEFINED, 4, b"0232")


@dataclass(frozen=True, slots=True)
class _Entry:
    tag: int
    kind: int
    count: int
    content: bytes


def exif_directory(properties: Mapping[str, object], offset: int) -> bytes:
    """Pack the EXIF directory of a file.

    Parameters
    ----------
    properties : mapping
        exiv2 key -> text; those that begin with "Exif.Photo." are taken, as far as they are known here.
    offset : int
        Where in the file the bytes will stand; even.

    Returns
    -------
    bytes
        Empty where there is nothing to say.
    """
    entries = _entries(properties, "Exif.Photo.", _PHOTO_TAGS)
    if not entries:
        return b""
    tag, kind, count, content = _VERSION
    return _directory([_Entry(tag, kind, count, content), *entries], offset)


def exif_segment(properties: Mapping[str, object]) -> bytes:
    """Pack EXIF as a JPEG's APP1 segment holds it, behind its signature; empty where there is nothing to say."""
    image = _entries(properties, "Exif.Image.", _IMAGE_TAGS)
    start = 8
    pointed = _Entry(EXIF_POINTER_TAG, _LONG, 1, bytes(4))
    room = len(_directory([*image, pointed], start))
    photo = exif_directory(properties, start + room)
    if photo:
        image = [*image, _Entry(EXIF_POINTER_TAG, _LONG, 1, struct.pack("<I", start + room))]
    if not image:
        return b""
    return struct.pack("<2sHI", b"II", 42, start) + _directory(image, start) + photo


def _entries(properties: Mapping[str, object], prefix: str, tags: Mapping[str, tuple[int, int]]) -> list[_Entry]:
    entries = []
    for name, (tag, kind) in tags.items():
        said = properties.get(prefix + name)
        entry = None if said in (None, "") else _entry(tag, kind, str(said))
        if entry is not None:
            entries.append(entry)
    return entries


def _entry(tag: int, kind: int, text: str) -> _Entry | None:
    if kind == _ASCII:
        # Readers take these as UTF-8, whatever the standard's seven bits say.
        content = text.encode("utf-8") + b"\0"
        return _Entry(tag, kind, len(content), content)
    if kind == _RATIONAL:
        numerator, _, denominator = text.partition("/")
        above, below = int(numerator), int(denominator or "1")
        if not 0 <= above <= _LARGEST_UNSIGNED or not 0 < below <= _LARGEST_UNSIGNED:
            return None
        return _Entry(tag, kind, 1, struct.pack("<II", above, below))
    number = int(text)
    if kind == _SHORT:
        return _Entry(tag, kind, 1, struct.pack("<H", min(number, 65535)))
    return _Entry(tag, kind, 1, bytes([number]))


def _directory(entries: Sequence[_Entry], offset: int) -> bytes:
    """Entries by tag, values of more than four bytes behind them at even places."""
    ordered = sorted(entries, key=lambda entry: entry.tag)
    place = offset + 2 + _ENTRY_BYTES * len(ordered) + 4
    head, body = struct.pack("<H", len(ordered)), b""
    for entry in ordered:
        if len(entry.content) <= 4:
            value = entry.content.ljust(4, b"\0")
        else:
            value = struct.pack("<I", place + len(body))
            body += entry.content + bytes(len(entry.content) % 2)
        head += struct.pack("<HHI", entry.tag, entry.kind, entry.count) + value
    return head + bytes(4) + body
