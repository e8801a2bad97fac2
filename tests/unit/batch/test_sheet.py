"""A roll's sheet in every form, from what is in its record and folders."""

import dataclasses
from pathlib import Path

import cv2
import msgspec
import numpy as np
import pypdfium2
import pytest

from tests.unit.batch.shot_rolls import file_shots
from tests.unit.roll import rolls
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.roll_jobs import reconvert_roll
from tethercap.batch.sheet import SheetForm, SheetOrder, strips_of, write_sheets
from tethercap.convert.sheet import PAPERS, SheetLook
from tethercap.image_files.jpeg import decode_jpeg
from tethercap.profile_files import load_film_format
from tethercap.roll.folder import Roll, TakeOutcome
from tethercap.roll.names import FrameId
from tethercap.roll.view import RollView, read_roll

FORMAT = load_film_format("135-36x24")


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> RollView:
    folder = tmp_path_factory.mktemp("sheet")
    file_shots(folder / "roll", folder)
    with Roll.open(folder / "roll") as roll:
        list(reconvert_roll(roll, SerialExecutor()))
        roll.skip("4", "torn")
        roll.pick("2", 1)
    return read_roll(folder / "roll")


def at_frames(sheet: np.ndarray, count: int) -> list[float]:
    """How much there is to see in the middle of each place of the first strip: spread of the colours' saturation."""
    top, bottom = round(0.52 * sheet.shape[0]), round(0.6 * sheet.shape[0])
    width = sheet.shape[1] / 6
    colour = np.ptp(sheet.astype(int), axis=2)[top:bottom]
    return [float(colour[:, round((n + 0.2) * width) : round((n + 0.8) * width)].std()) for n in range(count)]


def test_jpeg_shows_what_was_converted(view: RollView, tmp_path: Path) -> None:
    (path,) = write_sheets(view, FORMAT, SheetOrder(frame_width_px=240), tmp_path / "sheet")
    sheet = decode_jpeg(path.read_bytes())
    assert path.name == "sheet.jpg"
    assert sheet.shape[1] > 6 * 240
    *taken, skipped, nothing = at_frames(sheet, 5)
    assert min(taken) > 10
    assert max(skipped, nothing) < 2
    # The picked frame has a rim of red.
    red = (sheet[..., 2].astype(int) - sheet[..., 1] > 110) & (sheet[..., 0] < 80)
    columns = np.nonzero(red.sum(axis=0) > 60)[0]
    assert len(columns) >= 2
    assert sheet.shape[1] / 6 < columns.min() < sheet.shape[1] / 3


def test_a_sheet_larger_than_a_jpeg_can_be_is_drawn_smaller(
    view: RollView, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tethercap.batch.sheet.LONGEST_SIDE_PX", 900)
    (path,) = write_sheets(view, FORMAT, SheetOrder(frame_width_px=240), tmp_path / "sheet")
    assert max(decode_jpeg(path.read_bytes()).shape) == 900


def test_paper_sizes_at_300_dpi(view: RollView, tmp_path: Path) -> None:
    (path,) = write_sheets(view, FORMAT, SheetOrder(paper=PAPERS["a4"]), tmp_path / "sheet")
    assert sorted(decode_jpeg(path.read_bytes()).shape[:2]) == [2480, 3508]


def test_pdf_has_the_numbers_as_text(view: RollView, tmp_path: Path) -> None:
    (path,) = write_sheets(view, FORMAT, SheetOrder(form=SheetForm.PDF, paper=PAPERS["letter"]), tmp_path / "sheet")
    document = pypdfium2.PdfDocument(path)
    try:
        text = document[0].get_textpage().get_text_range()
        assert sorted(document[0].get_size()) == [pytest.approx(612, abs=0.1), pytest.approx(792, abs=0.1)]
    finally:
        document.close()
    for word in ("X31-007", "1", "2", "3", "4", "skipped"):
        assert word in text


def test_the_light_table_shows_negatives(view: RollView, tmp_path: Path) -> None:
    (lit,) = write_sheets(view, FORMAT, SheetOrder(look=SheetLook.LIGHT_TABLE, frame_width_px=240), tmp_path / "lit")
    sheet = decode_jpeg(lit.read_bytes())
    proof = decode_jpeg((view.path / "proof" / "X31-007_01.jpg").read_bytes())
    # A frame's stretch of film, 38 mm, gets 240 px.
    width = round(240 * 36 / 38)
    height = round(width * proof.shape[0] / proof.shape[1])
    positive = cv2.cvtColor(cv2.resize(proof, (width, height), interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2GRAY)
    grey = cv2.cvtColor(sheet, cv2.COLOR_BGR2GRAY)
    found = cv2.matchTemplate(grey[:, :340], 255 - positive, cv2.TM_CCOEFF_NORMED)
    assert found.max() > 0.7
    assert cv2.matchTemplate(grey[:, :340], positive, cv2.TM_CCOEFF_NORMED).max() < 0.5


def test_the_page_tells_frames_takes_and_exposures(view: RollView, tmp_path: Path) -> None:
    (path,) = write_sheets(view, FORMAT, SheetOrder(form=SheetForm.HTML), tmp_path / "page")
    text = path.read_text(encoding="utf-8")
    assert text.count("data:image/jpeg;base64,") == 3
    for word in ("Frame 1", "Frame 4", "torn", "raw/X31-007_02.dng", "chosen"):
        assert word in text


@pytest.mark.parametrize("form", list(SheetForm))
def test_the_same_roll_gives_the_same_bytes(view: RollView, tmp_path: Path, form: SheetForm) -> None:
    order = SheetOrder(form=form, frame_width_px=120)
    made = [write_sheets(view, FORMAT, order, tmp_path / name)[0].read_bytes() for name in ("a", "b")]
    assert made[0] == made[1]


def test_a_proof_that_is_damaged_or_gone_does_not_stop_the_sheet(tmp_path: Path) -> None:
    file_shots(tmp_path / "roll", tmp_path)
    with Roll.open(tmp_path / "roll") as roll:
        list(reconvert_roll(roll, SerialExecutor()))
    (tmp_path / "roll" / "proof" / "X31-007_01.jpg").write_bytes(b"not a JPEG")
    (tmp_path / "roll" / "proof" / "X31-007_02.jpg").unlink()
    (path,) = write_sheets(read_roll(tmp_path / "roll"), FORMAT, SheetOrder(frame_width_px=120), tmp_path / "sheet")
    assert path.exists()


def test_shots_cut_in_two_without_any_proof_make_a_sheet(view: RollView, tmp_path: Path) -> None:
    frames = dict(view.frames)
    frame_id = FrameId(1)
    take = frames[frame_id].takes[0]
    assert take.converted is not None
    bare = dataclasses.replace(take, converted=None, second=msgspec.structs.replace(take.converted, proof=""))
    half_frames = dataclasses.replace(view, frames={frame_id: frames[frame_id].with_take(bare)})
    (path,) = write_sheets(half_frames, FORMAT, SheetOrder(frame_width_px=120), tmp_path / "sheet")
    assert decode_jpeg(path.read_bytes()).shape[1] > 12 * 120


def test_strips_are_those_that_were_put_in(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        for number in range(1, 12):
            if number == 5:
                roll.start_strip()
            roll.file(rolls.receive(roll, str(number), number), TakeOutcome(accepted=True))
        roll.skip("12", "torn")
        strips = strips_of(roll.frames, 6)
    assert [[str(frame.frame_id) for frame in strip.frames] for strip in strips] == [
        ["1", "2", "3", "4"],
        ["5", "6", "7", "8", "9", "10"],
        ["11", "12"],
    ]
