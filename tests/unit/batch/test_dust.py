"""Masks of dust lie over their positives."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from tethercap.batch.dust import write_dust_mask
from tethercap.convert.crop import lay_out
from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.geometry import QuadPx, SizePx

MOSAIC = SizePx(600, 400)
CORNERS = QuadPx.from_array([[100, 60], [500, 60], [500, 330], [100, 330]])


@pytest.mark.parametrize("half_size", [False, True])
@pytest.mark.parametrize(
    ("border", "turn", "wanted"),
    [(Border.FRAME, Turn.NONE, (0.25, 0.4)), (Border.FRAME, Turn.HALF, (0.75, 0.6)), (Border.WHOLE, Turn.NONE, None)],
)
def test_the_mask_is_as_large_as_the_positive_and_lies_where_the_dust_is(
    border: Border, turn: Turn, wanted: tuple[float, float] | None, half_size: bool, tmp_path: Path
) -> None:
    x_px, y_px = 100 + 0.25 * 400, 60 + 0.4 * 270
    cells = np.zeros((200, 300), np.uint8)
    cells[round(y_px / 2) - 3 : round(y_px / 2) + 3, round(x_px / 2) - 3 : round(x_px / 2) + 3] = 1
    layout = lay_out(MOSAIC, CORNERS, Recipe(border=border, turn=turn, half_size=half_size))
    write_dust_mask(tmp_path / "dust.png", cells, layout)
    mask = cv2.imread(str(tmp_path / "dust.png"), cv2.IMREAD_GRAYSCALE)
    assert mask is not None
    assert mask.shape[::-1] == layout.turned_size
    rows, columns = np.nonzero(mask)
    seen = columns.mean() / mask.shape[1], rows.mean() / mask.shape[0]
    assert seen == pytest.approx(wanted or (x_px / 600, y_px / 400), abs=0.01)
