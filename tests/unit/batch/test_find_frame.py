"""Which part of a RAW is taken for the picture on the film, where nobody said what format it is."""

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, density_of, raw_of
from tethercap.batch.find_frame import SeenFrame, SharedFrame, find_frame, frame_of_set
from tethercap.convert.charts import CHART_COLUMNS, CHART_EDITIONS
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx


def found_on_clear_film(width_px: int, height_px: int) -> QuadPx | None:
    """Look for a frame of one even tone in the middle of clear film."""
    density = np.zeros((800, 1200, 3))
    top, left = (800 - height_px) // 2, (1200 - width_px) // 2
    density[top : top + height_px, left : left + width_px] = 0.9
    return find_frame(raw_of(BASE_COUNTS * 10.0**-density), FilmKind.COLOUR_NEGATIVE)


def test_a_frame_that_fills_the_view_is_found() -> None:
    found = found_on_clear_film(990, 660)
    assert found is not None
    np.testing.assert_allclose(np.ptp(found.as_array(), axis=0), [990, 660], atol=6)


def test_a_square_of_the_scene_is_no_frame() -> None:
    assert found_on_clear_film(300, 300) is None


@pytest.mark.parametrize("with_gap", [False, True])
def test_four_rows_of_a_chart_are_no_frame_but_a_frame_beside_another_is(with_gap: bool) -> None:
    scene = np.full((400, 600, 3), 0.05)
    for number, colour in enumerate(CHART_EDITIONS[0]):
        row, column = divmod(number, CHART_COLUMNS)
        top, left = 48 + 78 * row, 70 + 78 * column
        scene[top : top + 70, left : left + 70] = colour
    density = density_of(scene)
    if with_gap:
        # A square frame of clear film and its neighbours, whose film is as dense as that of the chart.
        density[40:360, :140] = density[40:360, 460:] = density[40:360, 148:452] = 0.9
        density[:40] = density[360:] = density[:, 140:148] = density[:, 452:460] = 0.0
    found = find_frame(raw_of(BASE_COUNTS * 10.0**-density), FilmKind.COLOUR_NEGATIVE)
    assert (found is not None) == with_gap


def seen(format_id: str, mm_per_px: float, confidence: float = 0.95) -> SeenFrame:
    """Make what one file shows, of a set of 1200 x 800."""
    return SeenFrame(SharedFrame(format_id, mm_per_px, SizePx(1200, 800)), confidence)


def test_files_agree_on_format_and_scale() -> None:
    of_set = [seen("135-36x24", 0.0363), None, seen("120-6x9", 0.084, 0.4), seen("135-36x24", 0.0365)]
    agreed = frame_of_set(of_set)
    assert agreed is not None
    assert agreed.format_id == "135-36x24"
    assert abs(agreed.mm_per_px - 0.0364) < 1e-6


def test_files_that_differ_or_show_too_little_agree_on_nothing() -> None:
    assert frame_of_set([]) is None
    assert frame_of_set([None, seen("135-36x24", 0.0364)]) is None
    assert frame_of_set([seen("135-36x24", 0.0364), seen("120-6x9", 0.084)]) is None
    assert frame_of_set([seen("135-36x24", 0.0364), seen("135-36x24", 0.0390)]) is None


def test_what_the_set_agrees_on_finds_a_frame_that_looks_like_another_format() -> None:
    """Half of the frame is as clear as the base; by itself it might be a frame half as long."""
    density = np.zeros((800, 1200, 3))
    density[70:730, 105:600] = 0.9
    density[70:80, 600:1095] = density[720:730, 600:1095] = density[70:730, 1085:1095] = 0.9
    raw = raw_of(BASE_COUNTS * 10.0**-density)
    agreed = SharedFrame("135-36x24", 36 / 990, SizePx(1200, 800))
    found = find_frame(raw, FilmKind.COLOUR_NEGATIVE, None, agreed)
    assert found is not None
    np.testing.assert_allclose(np.ptp(found.as_array(), axis=0), [990, 660], atol=8)
    other_size = SharedFrame("135-18x24", 18 / 990, SizePx(600, 400))
    assert find_frame(raw, FilmKind.COLOUR_NEGATIVE, "135-36x24", other_size) is not None
