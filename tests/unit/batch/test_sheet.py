from itertools import pairwise
from pathlib import Path

import numpy as np

from tethercap.batch.sheet import SheetEntry, write_sheet
from tethercap.convert.sheet import SheetFrame, lay_out_sheet
from tethercap.image_files.jpeg import decode_jpeg, write_jpeg
from tethercap.pictures import U8Array


def plain(value: int, width: int = 300, height: int = 200) -> U8Array:
    return np.full((height, width, 3), value, np.uint8)


def places_of(sheet: U8Array, value: int) -> np.ndarray:
    return np.argwhere(np.all(sheet == value, axis=2))


def test_frames_lie_in_strips_in_the_films_order() -> None:
    frames = [SheetFrame(str(number), plain(100 + number)) for number in range(1, 9)]
    sheet = lay_out_sheet(frames, title="invented", per_strip=6, frame_width_px=120)
    tops = [places_of(sheet, 100 + number).min(axis=0) for number in range(1, 9)]
    assert all(here[1] < there[1] for here, there in pairwise(tops[:6]))
    assert tops[6][0] > tops[0][0]
    assert tops[6][1] == tops[0][1]


def test_every_frame_is_shown_whole_and_unstretched() -> None:
    upright = SheetFrame("2", plain(222, 200, 300))
    sheet = lay_out_sheet([SheetFrame("1", plain(111)), upright], title="t", frame_width_px=120)
    for value, ratio in ((111, 1.5), (222, 2 / 3)):
        found = places_of(sheet, value)
        height, width = found.max(axis=0) - found.min(axis=0) + 1
        assert abs(width / height - ratio) < 0.05


def test_a_frame_without_a_picture_keeps_its_place() -> None:
    frames = [SheetFrame("1", plain(111)), SheetFrame("2", None, "skipped"), SheetFrame("3", plain(133))]
    sheet = lay_out_sheet(frames, title="t", frame_width_px=120)
    step = places_of(sheet, 133).min(axis=0)[1] - places_of(sheet, 111).min(axis=0)[1]
    assert step > 2 * 120


def test_an_empty_roll_has_a_sheet() -> None:
    assert lay_out_sheet([], title="t").size > 0


def test_damaged_and_missing_proofs_do_not_stop_the_sheet(tmp_path: Path) -> None:
    write_jpeg(tmp_path / "1.jpg", plain(180))
    (tmp_path / "2.jpg").write_bytes((tmp_path / "1.jpg").read_bytes()[:300])
    entries = [
        SheetEntry("1", tmp_path / "1.jpg"),
        SheetEntry("2", tmp_path / "2.jpg"),
        SheetEntry("3", tmp_path / "3.jpg"),
    ]
    write_sheet(tmp_path / "sheet.jpg", entries, title="invented", frame_width_px=240)
    sheet = decode_jpeg((tmp_path / "sheet.jpg").read_bytes())
    assert np.abs(sheet.astype(int) - 180).max(axis=2).min() <= 2
