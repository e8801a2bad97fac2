"""The door to JPEG: live-view pictures and previews in, proofs out."""

from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np

from tethercap.convert.spaces import SPACES, srgb_to
from tethercap.errors import ConversionError, UnreadablePictureError
from tethercap.image_files._whole import write_whole
from tethercap.image_files.exif_block import exif_segment
from tethercap.image_files.icc import icc_profile
from tethercap.pictures import ColourSpace, LiveFrame, LiveJpeg, U8Array

JPEG_SUFFIXES = frozenset({".jpg", ".jpeg"})
_REDUCED = {
    1: cv2.IMREAD_COLOR,
    2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4,
    8: cv2.IMREAD_REDUCED_COLOR_8,
}
# Signature of an APP1 segment that holds XMP (XMP specification part 3, JPEG).
_XMP_SEGMENT = b"http://ns.adobe.com/xap/1.0/\0"
_LONGEST_SEGMENT = 0xFFFF - 2 - len(b"Exif\0\0")
"""Bytes of one piece of metadata: two tell the length themselves (ISO/IEC 10918-1, B.1.1.4), and EXIF is signed."""
_LONGEST_HEADERS = 1 << 20
"""Metadata before the picture is shorter, in files that were written here."""
_LEVELS = 16383
"""Steps of linear light: an eighth of the smallest step of eight bits in sRGB."""
_START_OF_SCAN = b"\xff\xda"
_END_OF_IMAGE = b"\xff\xd9"


LARGEST_LIVE_PX = 60_000_000
"""No live view has more pixels; what claims to be larger is damaged."""
LONGEST_SIDE_PX = 65_500
"""Of a JPEG that is written: what the library that everybody uses takes (the format itself has 16 bits for it)."""
_LARGEST_PX = 400_000_000
_MOST_PX_A_BYTE = 600
"""Flat grey in a progressive JPEG takes one bit for 64 pixels (ISO/IEC 10918-1, F and G): nothing packs more."""
_FRAME_HEADERS = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD9)})


def claimed_px(jpeg: bytes) -> int:
    """Give the number of pixels that a JPEG's frame header claims; 0 where there is none (ISO/IEC 10918-1, B.2.2)."""
    at = 2
    while at + 9 <= len(jpeg) and jpeg[at] == 0xFF:
        marker = jpeg[at + 1]
        if marker in _FRAME_HEADERS:
            return int.from_bytes(jpeg[at + 5 : at + 7], "big") * int.from_bytes(jpeg[at + 7 : at + 9], "big")
        if marker == 0xFF or marker in _WITHOUT_LENGTH:
            at += 1 if marker == 0xFF else 2
        else:
            at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    return 0


def decode_jpeg(jpeg: bytes, reduced: int = 1, *, largest_px: int = _LARGEST_PX) -> U8Array:
    """Decode a JPEG.

    Parameters
    ----------
    jpeg : bytes
        The file's content. Bytes after its end mark are ignored; cameras pad.
    reduced : {1, 2, 4, 8}
        Decode at this fraction of the size, which is faster than decoding and shrinking.
    largest_px : int
        A picture that claims more pixels is refused before memory is taken for it.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, channel order blue, green, red; as stored, not turned by its EXIF orientation.

    Raises
    ------
    UnreadablePictureError
        If it is no JPEG or is cut short. A half-decoded picture is never handed out.
    """
    if not jpeg.startswith(b"\xff\xd8") or jpeg.rfind(_END_OF_IMAGE) < jpeg.rfind(_START_OF_SCAN):
        raise UnreadablePictureError("A JPEG is damaged or cut short.")
    claimed = claimed_px(jpeg)
    if claimed > min(largest_px, _MOST_PX_A_BYTE * len(jpeg)):
        raise UnreadablePictureError(f"A JPEG of {len(jpeg)} bytes claims to have {claimed} pixels: it is damaged.")
    encoded = np.frombuffer(jpeg, dtype=np.uint8)
    try:
        pixels = cv2.imdecode(encoded, _REDUCED[reduced] | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error as error:
        raise UnreadablePictureError("A JPEG could not be decoded.") from error
    if pixels is None:
        raise UnreadablePictureError("A JPEG could not be decoded.")
    return pixels.astype(np.uint8, copy=False)


def decode_positive(jpeg: bytes, reduced: int = 1) -> U8Array:
    """Decode a JPEG that was written here, whatever space it is in, to be shown.

    Parameters
    ----------
    jpeg : bytes
    reduced : {1, 2, 4, 8}
        As in `decode_jpeg`.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, sRGB, blue-green-red; colours that sRGB does not have are clipped. A JPEG
        without one of the profiles of `icc` is taken for sRGB.

    Raises
    ------
    UnreadablePictureError
    """
    pixels = decode_jpeg(jpeg, reduced)
    start = jpeg[:_LONGEST_HEADERS]
    space = next((space for space in ColourSpace if icc_profile(space) in start), ColourSpace.SRGB)
    if space is ColourSpace.SRGB:
        return pixels
    light = SPACES[space].curve.decode(np.arange(256) / 255.0).astype(np.float32)[pixels[..., ::-1]]
    linear = cv2.transform(light, np.linalg.inv(srgb_to(space)).astype(np.float32))
    index = np.clip(linear * _LEVELS + 0.5, 0, _LEVELS).astype(np.uint16)
    encoded = SPACES[ColourSpace.SRGB].curve.encode(np.arange(_LEVELS + 1) / _LEVELS)
    return np.ascontiguousarray(np.rint(255.0 * encoded).astype(np.uint8)[index][..., ::-1])


def decode_live(live: LiveJpeg, reduced: int = 1) -> LiveFrame:
    """Decode a live-view picture, keeping its time and number.

    Raises
    ------
    UnreadablePictureError
        If it is no JPEG or is cut short.
    """
    pixels = decode_jpeg(live.jpeg, reduced, largest_px=LARGEST_LIVE_PX)
    return LiveFrame(pixels, live.taken_at_s, live.sequence)


def encode_jpeg(
    pixels_bgr: U8Array,
    *,
    quality: int = 92,
    colour_space: ColourSpace = ColourSpace.SRGB,
    xmp: bytes | None = None,
    properties: Mapping[str, object] | None = None,
) -> bytes:
    """Encode a picture as JPEG with its ICC profile inside.

    Parameters
    ----------
    pixels_bgr : ndarray
        Shape (height, width, 3) or (height, width), uint8, encoded as `colour_space` says.
    quality : int
        1..100. From 90 up colour is kept at full resolution.
    xmp : bytes or None
        XMP packet to embed.
    properties : mapping, optional
        Values for EXIF, keyed as exiv2 names them; other keys are left out.

    Raises
    ------
    ConversionError
        If a side is longer than `LONGEST_SIDE_PX`, or the metadata are longer than a JPEG can hold.
    """
    height, width = pixels_bgr.shape[:2]
    if max(height, width) > LONGEST_SIDE_PX:
        raise ConversionError(
            f"A JPEG cannot be {width} x {height} pixels large: the most along a side is {LONGEST_SIDE_PX}.",
            safe="The RAW is untouched.",
            todo="Make it smaller, or do without the JPEG.",
        )
    sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444 if quality >= 90 else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420
    parameters = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    chunks = {cv2.IMAGE_METADATA_ICCP: icc_profile(colour_space)}
    exif = exif_segment(properties or {})
    if exif:
        chunks[cv2.IMAGE_METADATA_EXIF] = exif
    if xmp is not None:
        chunks[cv2.IMAGE_METADATA_XMP] = _XMP_SEGMENT + xmp
    longest = max(map(len, chunks.values()))
    if longest > _LONGEST_SEGMENT:
        raise ConversionError(
            f"{longest} bytes of metadata do not go into a JPEG: the most is {_LONGEST_SEGMENT}.",
            safe="The RAW is untouched.",
            todo="Shorten captions and notes, or do without JPEGs.",
        )
    contents = [np.frombuffer(chunk, dtype=np.uint8) for chunk in chunks.values()]
    _, encoded = cv2.imencodeWithMetadata(".jpg", pixels_bgr, list(chunks), contents, parameters)
    return encoded.tobytes()


def write_jpeg(
    path: Path,
    pixels_bgr: U8Array,
    *,
    quality: int = 92,
    colour_space: ColourSpace = ColourSpace.SRGB,
    xmp: bytes | None = None,
    properties: Mapping[str, object] | None = None,
) -> None:
    """Write a JPEG through a temporary file; parameters as in `encode_jpeg`.

    Raises
    ------
    ConversionError
        As in `encode_jpeg`.
    StorageError
        If the disk refuses.
    """
    encoded = encode_jpeg(pixels_bgr, quality=quality, colour_space=colour_space, xmp=xmp, properties=properties)
    write_whole(path, lambda temporary: _write(temporary, encoded))


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
