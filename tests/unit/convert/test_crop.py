import numpy as np
import pytest

from tethercap.convert.crop import lay_out, resample_rows, source_rows
from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.geometry import QuadPx, SizePx

SOURCE = SizePx(600, 400)


def tilted(angle_deg: float) -> QuadPx:
    angle = np.radians(angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    half = np.array([[-180, -120], [180, -120], [180, 120], [-180, 120]])
    return QuadPx.from_array(half @ turn.T + np.array([300.0, 200.0]))


def picture_of(corners: QuadPx) -> np.ndarray:
    """Value = place along and across the frame, in 1/100 of its sides, inside the source."""
    along = np.array(corners[1]) - np.array(corners[0])
    across = np.array(corners[3]) - np.array(corners[0])
    y, x = np.mgrid[0:400, 0:600]
    place = np.stack([x, y], axis=-1) - np.array(corners[0])
    u, v = place @ along / (along @ along), place @ across / (across @ across)
    picture = np.stack([u, v, np.ones_like(u)], axis=2)
    return (np.clip(picture + 0.2, 0, 1.4) * 40000).astype(np.uint16)


def resampled(corners: QuadPx, recipe: Recipe, chunk: int) -> np.ndarray:
    layout = lay_out(SOURCE, corners, recipe)
    picture = picture_of(corners)
    rows = []
    for first in range(0, layout.size.height_px, chunk):
        last = min(first + chunk, layout.size.height_px)
        top, bottom = source_rows(layout, first, last, SOURCE)
        rows.append(resample_rows(layout, picture[top:bottom], top, first, last))
    return np.concatenate(rows)


@pytest.mark.parametrize("angle_deg", [-2.0, 0.0, 0.7, 3.0])
def test_the_frame_is_squared(angle_deg: float) -> None:
    out = resampled(tilted(angle_deg), Recipe(border=Border.HAIR), 64) / 40000 - 0.2
    height, width = out.shape[:2]
    margin = 0.35 * 360 / 36
    u = (np.arange(width) + 0.5 - margin) / 360
    v = (np.arange(height) + 0.5 - margin) / 240
    inner = (slice(8, -8), slice(8, -8))
    np.testing.assert_allclose(out[..., 0][inner], np.broadcast_to(u, (height, width))[inner], atol=0.004)
    np.testing.assert_allclose(out[..., 1][inner], np.broadcast_to(v[:, None], (height, width))[inner], atol=0.004)


def test_chunks_join_without_a_seam() -> None:
    corners = tilted(1.5)
    whole = resampled(corners, Recipe(), 1000).astype(int)
    parts = resampled(corners, Recipe(), 32).astype(int)
    assert np.abs(whole - parts).max() <= 40  # sub-pixel positions are rounded to 1/32 px by the resampler


@pytest.mark.parametrize(("border", "width"), [(Border.FRAME, 358), (Border.HAIR, 367), (Border.REBATE, 400)])
def test_borders_keep_what_they_say(border: Border, width: int) -> None:
    assert lay_out(SOURCE, tilted(0.0), Recipe(border=border)).size.width_px == pytest.approx(width, abs=1)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn", list(Turn))
def test_turns_and_mirrors_are_exact(turn: Turn, mirrored: bool) -> None:
    layout = lay_out(SizePx(6, 4), None, Recipe(border=Border.WHOLE, turn=turn, mirrored=mirrored))
    as_taken = np.arange(6 * 4 * 3, dtype=np.uint16).reshape(4, 6, 3)
    finished = layout.turned(as_taken)
    assert (finished.shape[1], finished.shape[0]) == layout.turned_size
    wanted = as_taken[:, ::-1] if mirrored else as_taken
    clockwise = {Turn.NONE: 0, Turn.QUARTER: 1, Turn.HALF: 2, Turn.THREE_QUARTERS: 3}[turn]
    np.testing.assert_array_equal(finished, np.rot90(wanted, -clockwise))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn", list(Turn))
def test_trims_are_those_of_the_finished_picture(turn: Turn, mirrored: bool) -> None:
    corners = QuadPx.from_array([[119.5, 79.5], [479.5, 79.5], [479.5, 319.5], [119.5, 319.5]])
    picture = np.repeat(np.arange(400 * 600, dtype=np.int64).reshape(400, 600, 1) % 65521, 3, axis=2).astype(np.uint16)

    def finished(trim_mm: tuple[float, float, float, float]) -> np.ndarray:
        layout = lay_out(SOURCE, corners, Recipe(border=Border.HAIR, turn=turn, mirrored=mirrored, trim_mm=trim_mm))
        return layout.turned(resample_rows(layout, picture, 0, 0, layout.size.height_px))

    whole, cut = finished((0.0, 0.0, 0.0, 0.0)), finished((3.0, 2.0, 1.0, 4.0))
    px = 10  # 360 px are 36 mm
    wanted = whole[2 * px : -4 * px, 3 * px : -1 * px]
    assert cut.shape == wanted.shape
    inner = (slice(4, -4), slice(4, -4))
    np.testing.assert_allclose(cut[inner].astype(int), wanted[inner], atol=2)


def test_margins_follow_the_format() -> None:
    medium = lay_out(SOURCE, tilted(0.0), Recipe(border=Border.REBATE), frame_long_mm=72.0)
    assert medium.size.width_px == pytest.approx(380, abs=1)
