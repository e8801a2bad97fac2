"""The rig's own unevenness, light and lens together, measured on a picture of the bare light."""

import hashlib
from dataclasses import dataclass, field

import cv2
import numpy as np

from tethercap.errors import ConversionError
from tethercap.pictures import F32Array, F64Array, RawPicture, ShotData

FLAT_CELL_PX = 32
"""The unevenness of light and lens is smooth over this many pixels of the mosaic; noise and dust are not."""
_DARKEST = 0.02
"""Share of the brightest light below which a place is taken for it, so that a black rim is not multiplied by more."""


@dataclass(frozen=True, slots=True, eq=False)
class FlatField:
    """What has to be taken from the density at each place."""

    density: F32Array
    """Shape (rows, columns, 3), one value for each cell of 32 x 32 mosaic pixels: -log10 of the light there over the
    brightest light, order red, green, blue."""
    size_px: tuple[int, int]
    """Height and width of the mosaic it was measured on."""
    light_counts: F64Array
    """The light itself at its brightest, counts over black for red, green, blue, shape (3,)."""
    shot: ShotData = field(default_factory=ShotData)
    """How it was photographed."""

    @property
    def fingerprint(self) -> str:
        """Hex that tells this light from any other, for the record of what was taken out of a picture."""
        return hashlib.sha256(self.density.tobytes() + self.light_counts.tobytes()).hexdigest()[:16]

    def refuse_other(self, raw: RawPicture) -> None:
        """Refuse a RAW of another size than the one it was measured on: places of the two have nothing in common.

        Raises
        ------
        ConversionError
        """
        if raw.mosaic.shape != self.size_px:
            (height, width), (rows, columns) = self.size_px, raw.mosaic.shape
            raise ConversionError(
                f"The flat field is {width} x {height} pixels large and the picture {columns} x {rows}.",
                safe="The RAW is untouched.",
                todo="Photograph the bare light with the same camera, image size and crop, or convert without --flat.",
            )

    def around(self, first: int, last: int) -> F32Array:
        """Rows first <= row < last of `density`, with a column more at each side; beyond its ends the outermost."""
        rows = np.clip(np.arange(first, last), 0, self.density.shape[0] - 1)
        columns = np.clip(np.arange(-1, self.density.shape[1] + 1), 0, self.density.shape[1] - 1)
        return self.density[rows][:, columns]

    def in_small(self, columns: int, rows: int, cell_px: int) -> F32Array:
        """Density to take from a picture whose pixels are means of `cell_px` squared, shape (rows, columns, 3)."""
        factor = FLAT_CELL_PX / cell_px
        small = cv2.resize(self.density, None, fx=factor, fy=factor, interpolation=cv2.INTER_LINEAR)
        return np.asarray(small[:rows, :columns], np.float32)

    def rows(self, first: int, last: int, colour: int) -> F32Array:
        """Density to take away on mosaic rows first, first + 2, ... below last, at every other column.

        Returns
        -------
        ndarray
            Shape (ceil((last - first) / 2), width // 2), float32.
        """
        places = (np.arange(first, last, 2) + 0.5) / FLAT_CELL_PX - 0.5
        above = np.clip(np.floor(places), 0, self.density.shape[0] - 1).astype(np.intp)
        below = np.minimum(above + 1, self.density.shape[0] - 1)
        share = np.clip(places - above, 0.0, 1.0).astype(np.float32)[:, None]
        lines = self.density[above, :, colour] * (1 - share) + self.density[below, :, colour] * share
        width = self.size_px[1] // 2
        whole = self.density.shape[1] * FLAT_CELL_PX // 2
        return cv2.resize(lines, (whole, len(lines)), interpolation=cv2.INTER_LINEAR)[:, :width].astype(
            np.float32, copy=False
        )


def colour_planes(raw: RawPicture) -> tuple[F32Array, ...]:
    """Counts over black of the four places of the mosaic's cell, in reading order, each at half size."""
    height, width = (side // 2 * 2 for side in raw.mosaic.shape)
    return tuple(
        raw.mosaic[row:height:2, column:width:2].astype(np.float32) - np.float32(raw.black[row, column])
        for row in (0, 1)
        for column in (0, 1)
    )


def measure_flat_field(raw: RawPicture) -> FlatField:
    """Measure the unevenness on a picture of the bare light.

    Raises
    ------
    ConversionError
        If the picture is clipped or too dark for that.
    """
    rows, columns = (-(-side // FLAT_CELL_PX) for side in raw.mosaic.shape)
    light = np.zeros((rows, columns, 3), np.float32)
    counts = np.zeros(3, np.float32)
    for plane, colour in zip(colour_planes(raw), raw.pattern.ravel(), strict=True):
        padded = cv2.copyMakeBorder(
            plane,
            0,
            rows * FLAT_CELL_PX // 2 - plane.shape[0],
            0,
            columns * FLAT_CELL_PX // 2 - plane.shape[1],
            cv2.BORDER_REPLICATE,
        )
        light[:, :, colour] += cv2.resize(padded, (columns, rows), interpolation=cv2.INTER_AREA)
        counts[colour] += 1
    light /= counts
    smooth = cv2.GaussianBlur(light, (5, 5), 1.0, borderType=cv2.BORDER_REPLICATE)
    brightest = np.percentile(smooth.reshape(-1, 3), 99.5, axis=0)
    _refuse_unusable(raw, brightest)
    density = -np.log10(np.maximum(smooth / brightest, _DARKEST))
    return FlatField(density.astype(np.float32), raw.mosaic.shape, brightest.astype(np.float64), raw.shot)


def _refuse_unusable(raw: RawPicture, brightest: F64Array) -> None:
    room = raw.white - raw.black.mean()
    clipped = float(np.mean(raw.mosaic[::8, ::8] >= 0.995 * raw.white))
    if clipped > 0.002:
        raise ConversionError(
            f"The flat field is clipped over {clipped:.1%} of the picture.", todo="Take it again at a shorter exposure."
        )
    if float(np.min(brightest)) < 0.02 * room:
        raise ConversionError("The flat field is too dark to be used.", todo="Take it again at a longer exposure.")
