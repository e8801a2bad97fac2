"""The door to RAW files: LibRaw through rawpy.

The program works on a 2 × 2 mosaic of red, green and blue. Sensors that have another one (6 × 6 mosaics, files that
the camera interpolated, sensors without filters) are brought to it here; nothing behind this door needs to know.
"""

import dataclasses
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np
import rawpy

from tethercap.convert.spaces import rgb_to_xyz
from tethercap.errors import UnreadablePictureError, UnsupportedPictureError
from tethercap.image_files.metadata import read_shot, require_plain_name
from tethercap.image_files.plain_dng import open_plain_dng
from tethercap.pictures import ColourSpace, F64Array, RawPicture, U8Array, U16Array

RAW_SUFFIXES = frozenset(
    f".{ending}"
    for ending in (
        *("dng", "nef", "nrw", "cr2", "cr3", "crw", "arw", "sr2", "srf", "raf", "orf", "ori", "rw2", "rwl", "raw"),
        *("pef", "srw", "3fr", "fff", "iiq", "erf", "kdc", "dcr", "mos", "mef", "mrw", "x3f", "gpr"),
    )
)
"""Names that RAW files of any maker end in, in small letters; from memory, as LibRaw reads them."""
_GREEN = 1
_FULL_SCALE = 65535
_COMMON_PATTERN = ((0, 1), (1, 2))
_BRIGHT_PERCENT = 99.5
"""What is brighter than all but this part of a picture of film is clear film or bare light."""


def read_raw(path: Path) -> RawPicture:
    """Open a RAW file whole; the picture is the caller's to keep. For parameters and errors see `open_raw`."""
    with open_raw(path) as raw:
        return raw if raw.mosaic.flags.owndata else dataclasses.replace(raw, mosaic=raw.mosaic.copy())


@contextmanager
def open_raw(path: Path) -> Iterator[RawPicture]:
    """Open a RAW file for as long as a block runs; its mosaic is the library's own, and gone after the block.

    Parameters
    ----------
    path : Path
        Any RAW that LibRaw reads. Where its mosaic is not a 2 x 2 one of red, green and blue, `mosaic` holds what such
        a one would have recorded: LibRaw interpolates, and each place keeps its colour. A sensor without filters
        has the same in all three.

    Raises
    ------
    UnreadablePictureError
        If the file is missing, damaged or cut short, or no picture at all. No partly read picture is handed out.
    UnsupportedPictureError
        If it is another kind of picture than a RAW, or its colours are not red, green and blue.
    """
    require_plain_name(path)
    if not path.is_file():
        raise UnreadablePictureError(f"{path} is not there, or no file.", todo="Look at its name and folder.")
    with ExitStack() as opened:
        try:
            plain = opened.enter_context(open_plain_dng(path))
            if plain is None:
                picture = _picture(opened.enter_context(rawpy.imread(str(path))), path)
            else:
                picture = dataclasses.replace(_picture(plain.shown, path), mosaic=plain.mosaic)
        except (rawpy.LibRawFileUnsupportedError, rawpy.NotSupportedError) as error:
            raise UnsupportedPictureError(
                f"{path} is not a RAW file that can be read here ({_said(error)}).",
                todo="Use the RAW as the camera wrote it.",
            ) from error
        except rawpy.LibRawError as error:
            raise UnreadablePictureError(
                f"{path} is damaged, cut short, or no RAW file at all ({_said(error)}).",
                todo="Pull it from the card again, or take the frame again.",
            ) from error
        yield picture


def _picture(raw: "rawpy.RawPy", path: Path) -> RawPicture:
    mosaic, pattern, black, white = _read_mosaic(raw, path)
    return RawPicture(
        mosaic=mosaic,
        pattern=pattern,
        black=black,
        white=white,
        camera_to_xyz=_camera_to_xyz(raw),
        daylight_multipliers=_multipliers(raw),
        d65_multipliers=_d65_multipliers(raw),
        orientation=_orientation(raw),
        shot=read_shot(path),
    )


def _said(error: Exception) -> str:
    text = error.args[0] if error.args else type(error).__name__
    return text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)


def _read_mosaic(raw: "rawpy.RawPy", path: Path) -> tuple[U16Array, U8Array, F64Array, float]:
    """Return mosaic, pattern, black levels and white level."""
    is_flat = raw.raw_type == rawpy.RawType.Flat
    if is_flat and raw.num_colors == 1:
        black = np.full((2, 2), float(raw.black_level_per_channel[0]))
        return raw.raw_image_visible, np.array(_COMMON_PATTERN, np.uint8), black, float(raw.white_level)
    if raw.num_colors != 3:
        raise UnsupportedPictureError(
            f"{path} has {raw.num_colors} colours, not red, green and blue.", todo="Use the camera's plain RAW format."
        )
    if is_flat and raw.raw_pattern is not None and raw.raw_pattern.shape == (2, 2):
        return raw.raw_image_visible, _pattern(raw), _black(raw), float(raw.white_level)
    return _remosaic(raw), np.array(_COMMON_PATTERN, np.uint8), np.zeros((2, 2)), float(_FULL_SCALE)


def _remosaic(raw: "rawpy.RawPy") -> U16Array:
    """Let LibRaw interpolate to camera colours, 0 = black, 65535 = saturation, and keep one of them at each place."""
    multipliers = _even_multipliers(raw)
    rgb = raw.postprocess(
        user_wb=[*multipliers, multipliers[_GREEN]],
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        gamma=(1, 1),
        no_auto_bright=True,
        adjust_maximum_thr=0.0,
        highlight_mode=rawpy.HighlightMode.Ignore,
        user_flip=0,
    )
    # LibRaw scales so that the largest factor is 1; taken back, each colour is on the scale of the sensor.
    back = multipliers.max() / multipliers
    mosaic = np.empty(rgb.shape[:2], np.uint16)
    for (row, column), channel in np.ndenumerate(np.array(_COMMON_PATTERN)):
        place = rgb[row::2, column::2, channel].astype(np.float32) * np.float32(back[channel])
        mosaic[row::2, column::2] = np.minimum(np.rint(place), _FULL_SCALE)
    return mosaic


def _even_multipliers(raw: "rawpy.RawPy") -> F64Array:
    """Return factors that make the brightest part of the picture neutral, the least of them 1.

    Interpolation goes by differences of colours; on an orange mask that is left orange it breaks.
    """
    black = np.asarray(raw.black_level_per_channel, dtype=np.float64)
    if raw.raw_type == rawpy.RawType.Flat:
        colours, counts = raw.raw_colors_visible[::3, ::5], raw.raw_image_visible[::3, ::5]
        bright = [np.percentile(counts[colours == channel] - black[channel], _BRIGHT_PERCENT) for channel in range(3)]
    else:
        counts = raw.raw_image_visible[::3, ::5, :3]
        bright = np.percentile(counts.reshape(-1, 3) - black[:3], _BRIGHT_PERCENT, axis=0)
    brightest = np.maximum(np.asarray(bright, dtype=np.float64), 1.0)
    return np.asarray(brightest.max() / brightest)


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


def _d65_multipliers(raw: "rawpy.RawPy") -> F64Array | None:
    # LibRaw works them out from the matrix.
    factors = np.asarray(raw.daylight_whitebalance[:3], dtype=np.float64)
    return factors / factors[_GREEN] if np.all(factors > 0) else None


def _orientation(raw: "rawpy.RawPy") -> int:
    # LibRaw's flip: 0 none, 3 half turn, 5 a quarter to the left, 6 a quarter to the right.
    return {3: 3, 5: 8, 6: 6}.get(int(raw.sizes.flip), 1)
