"""The door to RAW files: LibRaw through rawpy, arrays copied out before the file is closed."""

from pathlib import Path

import numpy as np
import rawpy

from tethercap.convert.spaces import rgb_to_xyz
from tethercap.errors import UnreadablePictureError, UnsupportedPictureError
from tethercap.image_files.metadata import read_shot
from tethercap.pictures import ColourSpace, F64Array, RawPicture, U8Array

_GREEN = 1


def read_raw(path: Path, *, with_preview: bool = False) -> RawPicture:
    """Open a RAW file whole.

    Parameters
    ----------
    path : Path
        Any Bayer RAW that LibRaw reads.
    with_preview : bool
        Also take the embedded JPEG out.

    Raises
    ------
    UnreadablePictureError
        If the file is missing, damaged or cut short. No partly read picture is handed out.
    UnsupportedPictureError
        If it is no RAW, or not one with a 2 x 2 mosaic of red, green and blue.
    """
    try:
        with rawpy.imread(str(path)) as raw:
            _refuse_other_mosaics(raw, path)
            return RawPicture(
                # The library's memory is gone with the file; a view into it would crash the process.
                mosaic=raw.raw_image_visible.copy(),
                pattern=_pattern(raw),
                black=_black(raw),
                white=float(raw.white_level),
                camera_to_xyz=_camera_to_xyz(raw),
                daylight_multipliers=_multipliers(raw),
                orientation=_orientation(raw),
                shot=read_shot(path),
                preview_jpeg=_preview(raw) if with_preview else None,
            )
    except (rawpy.LibRawFileUnsupportedError, rawpy.NotSupportedError) as error:
        raise UnsupportedPictureError(f"{path} is not a RAW file that can be read here ({_said(error)}).") from error
    except rawpy.LibRawError as error:
        raise UnreadablePictureError(
            f"{path} is missing, damaged or cut short ({_said(error)}).",
            todo="Pull it from the card again, or take the frame again.",
        ) from error


def _said(error: Exception) -> str:
    text = error.args[0] if error.args else type(error).__name__
    return text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)


def _refuse_other_mosaics(raw: "rawpy.RawPy", path: Path) -> None:
    pattern = raw.raw_pattern
    if raw.raw_type != rawpy.RawType.Flat or pattern is None or pattern.shape != (2, 2) or raw.num_colors != 3:
        raise UnsupportedPictureError(
            f"{path} has no 2 × 2 mosaic of red, green and blue.", todo="Use the camera's plain RAW format."
        )


def _colour_indices(raw: "rawpy.RawPy") -> U8Array:
    """LibRaw's colour index at the four places of the visible mosaic: 0 red, 1 green, 2 blue, 3 the other green."""
    top, left = raw.sizes.top_margin, raw.sizes.left_margin
    indices = [[raw.raw_color(top + row, left + column) for column in (0, 1)] for row in (0, 1)]
    return np.array(indices, dtype=np.uint8)


def _pattern(raw: "rawpy.RawPy") -> U8Array:
    indices = _colour_indices(raw)
    names = raw.color_desc.decode("ascii")
    letters = [["RGB".index(names[index]) for index in row] for row in indices]
    return np.array(letters, dtype=np.uint8)


def _black(raw: "rawpy.RawPy") -> F64Array:
    # Levels are listed by colour index, not by place in the mosaic.
    levels: F64Array = np.array(raw.black_level_per_channel, dtype=np.float64)
    indices = _colour_indices(raw)
    return np.asarray(levels[indices])


def _camera_to_xyz(raw: "rawpy.RawPy") -> F64Array | None:
    # LibRaw's own camera to sRGB matrix: there for every camera it knows and for every DNG with a colour matrix.
    camera_to_srgb = np.asarray(raw.color_matrix, dtype=np.float64)[:, :3]
    if abs(np.linalg.det(camera_to_srgb)) < 1e-9:
        return None
    return np.asarray(rgb_to_xyz(ColourSpace.SRGB) @ camera_to_srgb)


def _multipliers(raw: "rawpy.RawPy") -> F64Array:
    for candidates in (raw.camera_whitebalance, raw.daylight_whitebalance):
        factors = np.asarray(candidates[:3], dtype=np.float64)
        if np.all(factors > 0):
            return np.asarray(factors / factors[_GREEN])
    return np.ones(3)


def _orientation(raw: "rawpy.RawPy") -> int:
    # LibRaw's flip: 0 none, 3 half turn, 5 a quarter to the left, 6 a quarter to the right.
    return {3: 3, 5: 8, 6: 6}.get(int(raw.sizes.flip), 1)


def _preview(raw: "rawpy.RawPy") -> bytes | None:
    try:
        thumb = raw.extract_thumb()
    except (rawpy.LibRawNoThumbnailError, rawpy.LibRawUnsupportedThumbnailError):
        return None
    return bytes(thumb.data) if thumb.format == rawpy.ThumbFormat.JPEG else None
