import numpy as np
import numpy.typing as npt
import pytest

from tests.unit.watch.pictures import FORMAT
from tethercap.watch.perforations import find_perforations

PX_PER_MM = 8.0
WIDTH, HEIGHT = 340, 300


def _perforated(film: float, hidden_mm: float = 0.0) -> npt.NDArray[np.float32]:
    """Draw both rows of holes, light 250, in film of one tone; a holder hides so much of it left and right."""
    holes = FORMAT.perforations
    assert holes is not None
    x_mm = (np.arange(WIDTH) - (WIDTH - 1) / 2) / PX_PER_MM
    y_mm = (np.arange(HEIGHT) - (HEIGHT - 1) / 2)[:, None] / PX_PER_MM
    middle_mm = FORMAT.strip_width_mm / 2 - holes.edge_mm - holes.across_mm / 2
    along = np.abs((x_mm + holes.pitch_mm / 2) % holes.pitch_mm - holes.pitch_mm / 2) < holes.along_mm / 2
    across = np.abs(np.abs(y_mm) - middle_mm) < holes.across_mm / 2
    picture = np.where(along & across, 250.0, film)
    return np.asarray(np.where(np.abs(x_mm) > x_mm[-1] - hidden_mm, 10.0, picture), np.float32)


@pytest.mark.parametrize("film", [170.0, 12.0], ids=["negative", "slide"])
def test_the_strips_middle_is_told_by_the_sides_of_the_holes_that_face_it(film: float) -> None:
    """A holder covers the outer half of the upper holes."""
    level = _perforated(film)
    level[: HEIGHT // 2 - round(14.3 * PX_PER_MM)] = 10.0
    rows = find_perforations(level, FORMAT, 0.0, PX_PER_MM * 1.005)
    assert rows is not None
    assert rows.is_exact
    assert rows.middle_y == pytest.approx((HEIGHT - 1) / 2, abs=0.1 * PX_PER_MM)


@pytest.mark.parametrize("film", [170.0, 12.0], ids=["negative", "slide"])
def test_the_film_between_the_holes_is_told(film: float) -> None:
    rows = find_perforations(_perforated(film), FORMAT, 0.0, None)
    assert rows is not None
    assert rows.rows_seen == 2
    assert rows.px_per_mm == pytest.approx(PX_PER_MM, rel=0.01)
    assert rows.film_share == pytest.approx(film / 250, abs=0.05)


def test_rows_are_seen_where_a_holder_hides_half_of_them() -> None:
    """The scale is counted by holes: the cut ends shift their harmonic."""
    rows = find_perforations(_perforated(170.0, 9.5), FORMAT, 0.0, None)
    assert rows is not None
    assert rows.px_per_mm == pytest.approx(PX_PER_MM, rel=0.006)
    assert rows.film_share == pytest.approx(170 / 250, abs=0.05)
