"""roll.toml's words reach sidecars and positives; RAW files and other people's changes stay as they are."""

import hashlib
from collections.abc import Iterator, Mapping
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import put_positive, take
from tethercap.errors import ProfileError, UnreadablePictureError
from tethercap.image_files.metadata import embed, read, xmp_packet
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.setup import FrameNotes


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with Roll.create(
        tmp_path / "roll", rolls.setup(), sidecar=xmp_packet, layer=rolls.HastyDisk(), now=rolls.ticking()
    ) as made:
        for number in (1, 2, 3):
            take(made, str(number), number)
        yield made


def _positive(roll: Roll, frame: str) -> Path:
    """A real TIFF and a real JPEG, noted as made from the frame."""
    pixels = np.arange(48, dtype=np.uint16).reshape(4, 4, 3) * 1000
    tiff, jpeg = cv2.imencode(".tif", pixels)[1], cv2.imencode(".jpg", (pixels // 256).astype(np.uint8))[1]
    return put_positive(roll, frame, 1, tiff.tobytes(), jpeg.tobytes()).files[0]


def _pixels(path: Path) -> npt.NDArray[np.generic]:
    pixels = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    assert pixels is not None
    return pixels


def test_words_reach_all_sidecars(roll: Roll) -> None:
    roll.change_setup({"creator": "N. N."}, [FrameNotes(which="2-3", caption="the pier", taken_on="1998")])
    report = roll.describe()
    assert report.written == ("raw/X31-007_01.xmp", "raw/X31-007_02.xmp", "raw/X31-007_03.xmp")
    assert read(roll.path / "raw/X31-007_01.xmp")["Xmp.dc.creator"] == ["N. N."]
    assert "Xmp.dc.description" not in read(roll.path / "raw/X31-007_01.xmp")
    assert read(roll.path / "raw/X31-007_02.xmp")["Xmp.dc.description"] == "the pier"
    assert read(roll.path / "raw/X31-007_03.xmp")["Xmp.exif.DateTimeOriginal"] == "1998"
    assert verify(roll.path).is_sound
    assert roll.describe().unchanged == 3


def test_pictures_taken_later_carry_the_words_as_well(roll: Roll) -> None:
    roll.change_setup({"creator": "N. N."})
    take(roll, "4", 4)
    assert read(roll.path / "raw/X31-007_04.xmp")["Xmp.dc.creator"] == ["N. N."]


def test_raw_files_are_not_touched(roll: Roll) -> None:
    before = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in (roll.path / "raw").glob("*.dng")}
    roll.change_setup({"caption": "x"})
    roll.describe(embed)
    assert {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in before} == before


def test_words_reach_positives_and_their_pixels_stay(roll: Roll) -> None:
    positive = _positive(roll, "1")
    pixels = _pixels(positive)
    roll.change_setup({"rights": "mine", "taken_on": "1998-07-12"})
    report = roll.describe(embed)
    assert {"positive/X31-007_01.tif", "proof/X31-007_01.jpg"} <= set(report.written)
    for path in (positive, roll.proof_path("1", 1)):
        found = read(path)
        assert found["Xmp.dc.rights"] == "mine"
        assert found["Exif.Image.Copyright"] == "mine"
        assert found["Exif.Photo.DateTimeOriginal"] == "1998:07:12 00:00:00"
        assert found["Xmp.xmpMM.DerivedFrom/stRef:filePath"] == "raw/X31-007_01.dng"
        assert found["Xmp.xmpMM.History[1]/stEvt:when"] == roll.frames[FrameId(1)].takes[0].converted_at
    assert np.array_equal(_pixels(positive), pixels)
    assert roll.describe(embed).unchanged == 5
    assert verify(roll.path).is_sound
    assert not verify(roll.path).extra


def test_a_sidecar_that_another_program_changed_is_kept(roll: Roll) -> None:
    sidecar = roll.path / "raw/X31-007_02.xmp"
    sidecar.write_bytes(b"somebody's ratings")
    report = roll.describe()
    assert len(report.kept) == 1
    assert (roll.path / report.kept[0]).read_bytes() == b"somebody's ratings"
    assert read(sidecar)["Xmp.tethercap.Frame"] == "2"
    assert verify(roll.path).is_sound


def test_a_positive_that_another_program_changed_is_left(roll: Roll) -> None:
    positive = _positive(roll, "1")
    positive.write_bytes(positive.read_bytes() + b"retouched")
    report = roll.describe(embed)
    assert report.left == ("positive/X31-007_01.tif",)
    assert positive.read_bytes().endswith(b"retouched")


def test_a_positive_that_takes_no_words_is_told(roll: Roll) -> None:
    positive = _positive(roll, "1")
    before = positive.read_bytes()

    def refuse(path: Path, properties: Mapping[str, object]) -> None:
        path.write_bytes(b"half written")
        raise UnreadablePictureError("The picture cannot be read.")

    report = roll.describe(refuse)
    assert report.troubles[0].startswith("positive/X31-007_01.tif: The picture cannot be read.")
    assert positive.read_bytes() == before
    assert verify(roll.path).is_sound
    assert [path.name for path in positive.parent.iterdir()] == [positive.name]


def test_a_mistake_changes_nothing(roll: Roll) -> None:
    before = (roll.path / "roll.toml").read_bytes()
    with pytest.raises(ProfileError):
        roll.change_setup({"film_kind": "paper"})
    assert (roll.path / "roll.toml").read_bytes() == before
    assert roll.setup.film_kind == "colour-negative"


@pytest.mark.parametrize("cut_after", range(1, 6))
def test_a_run_that_was_cut_off_is_made_good(roll: Roll, cut_after: int) -> None:
    class CutError(BaseException):
        pass

    calls = 0

    def cut() -> None:
        nonlocal calls
        calls += 1
        if calls == min(cut_after, 3):
            raise CutError

    _positive(roll, "2")
    roll.change_setup({"creator": "N. N."})
    with pytest.raises(CutError):
        roll.describe(embed if cut_after % 2 else None, cut)
    roll.close()
    with Roll.open(roll.path, sidecar=xmp_packet, layer=rolls.HastyDisk()) as again:
        assert "cut off" in again.opening_notes[0]
        for path in sorted((roll.path / "raw").glob("*.xmp")):
            assert read(path)["Xmp.dc.creator"] == ["N. N."]
    report = verify(roll.path)
    assert report.is_sound
    assert not report.extra
    for line in (roll.path / "manifest-sha256.txt").read_text().splitlines():
        assert hashlib.sha256((roll.path / line[66:]).read_bytes()).hexdigest() == line[:64]
