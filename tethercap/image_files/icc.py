"""ICC profiles of the spaces positives are written in, built here: version 4 matrix profiles (ICC.1:2022)."""

import hashlib
import struct
from functools import cache

import numpy as np
import numpy.typing as npt

from tethercap.convert.spaces import PCS_WHITE_XYZ, SPACES, EncodingCurve, adaptation, rgb_to_pcs, xyz_of
from tethercap.pictures import ColourSpace

_HEADER_BYTES = 128
_RIGHTS = "No copyright, use freely"
# Creation date is fixed, so that the same picture gives the same bytes.
_CREATED = (2026, 1, 1, 0, 0, 0)


def _s15fixed16(values: npt.ArrayLike) -> bytes:
    numbers = np.asarray(values, dtype=np.float64).ravel()
    return np.round(numbers * 65536.0).astype(">i4").tobytes()


def _xyz_tag(xyz: npt.ArrayLike) -> bytes:
    return b"XYZ \0\0\0\0" + _s15fixed16(xyz)


def _text_tag(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28) + encoded


def _curve_tag(curve: EncodingCurve) -> bytes:
    if curve.knee == 0.0:
        return b"para\0\0\0\0" + struct.pack(">HH", 0, 0) + _s15fixed16([curve.exponent])
    parameters = [curve.exponent, curve.scale, curve.offset, curve.slope, curve.knee]
    return b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + _s15fixed16(parameters)


def _header(size_bytes: int) -> bytes:
    fields = struct.pack(">I4sI4s4s4s6H", size_bytes, b"\0\0\0\0", 0x04400000, b"mntr", b"RGB ", b"XYZ ", *_CREATED)
    fields += b"acsp" + bytes(4 + 4 + 4 + 4 + 8 + 4) + _s15fixed16(PCS_WHITE_XYZ)
    return fields.ljust(_HEADER_BYTES, b"\0")


@cache
def icc_profile(space: ColourSpace) -> bytes:
    """Build the profile of a colour space.

    Parameters
    ----------
    space : ColourSpace

    Returns
    -------
    bytes
        A version 4.4 display profile: description, rights, media white (D50), chromatic adaptation, colorants and one
        parametric curve shared by the three channels; the profile id is its MD5 (ICC.1:2022, 7.2.18).
    """
    definition = SPACES[space]
    colorants = rgb_to_pcs(space)
    curve = _curve_tag(definition.curve)
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", _text_tag(definition.name)),
        (b"cprt", _text_tag(_RIGHTS)),
        (b"wtpt", _xyz_tag(PCS_WHITE_XYZ)),
        (b"chad", b"sf32\0\0\0\0" + _s15fixed16(adaptation(xyz_of(definition.white_xy), PCS_WHITE_XYZ))),
        (b"rXYZ", _xyz_tag(colorants[:, 0])),
        (b"gXYZ", _xyz_tag(colorants[:, 1])),
        (b"bXYZ", _xyz_tag(colorants[:, 2])),
        *((name, curve) for name in (b"rTRC", b"gTRC", b"bTRC")),
    ]
    return _assemble(tags)


def _assemble(tags: list[tuple[bytes, bytes]]) -> bytes:
    table = struct.pack(">I", len(tags))
    place = _HEADER_BYTES + 4 + 12 * len(tags)
    body = b""
    places: dict[bytes, int] = {}
    for name, content in tags:
        if content not in places:
            places[content] = place + len(body)
            body += content + bytes(-len(content) % 4)
        table += struct.pack(">4sII", name, places[content], len(content))
    profile = _header(place + len(body)) + table + body
    # The id is taken over the profile with its flags, intent and id at zero, as the header has them here.
    return profile[:84] + hashlib.md5(profile, usedforsecurity=False).digest() + profile[100:]
