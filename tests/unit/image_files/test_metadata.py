from pathlib import Path

import numpy as np
import pytest

from tests.unit.image_files.dng_writer import write_dng
from tethercap.errors import UnreadablePictureError
from tethercap.image_files.jpeg import encode_jpeg
from tethercap.image_files.metadata import embed, read, read_shot, xmp_packet


def test_properties_of_every_shape_come_back(tmp_path: Path) -> None:
    sidecar = tmp_path / "roll_07.xmp"
    sidecar.write_bytes(
        xmp_packet(
            {
                "Xmp.dc.title": "Übung",
                "Xmp.dc.subject": ["harbour", "boats"],
                "Xmp.xmp.Rating": 3,
                "Xmp.tethercap.TiltDeg": 0.25,
                "Xmp.xmpMM.DerivedFrom/stRef:filePath": "raw/roll_07.dng",
                "Xmp.xmpMM.History[1]/stEvt:action": "converted",
                "Exif.Photo.FNumber": "8/1",
            }
        )
    )
    found = read(sidecar)
    assert found["Xmp.dc.title"] == "Übung"
    assert found["Xmp.dc.subject"] == ["harbour", "boats"]
    assert found["Xmp.xmp.Rating"] == "3"
    assert found["Xmp.tethercap.TiltDeg"] == "0.25"
    assert found["Xmp.xmpMM.DerivedFrom/stRef:filePath"] == "raw/roll_07.dng"
    assert found["Xmp.xmpMM.History[1]/stEvt:action"] == "converted"
    assert found["Xmp.exif.FNumber"] == "8/1"


def test_the_same_properties_give_the_same_bytes() -> None:
    properties = {"Xmp.dc.title": "a", "Xmp.dc.subject": ["x", "y"]}
    assert xmp_packet(properties) == xmp_packet(dict(properties))


def test_nothing_is_written_for_what_is_not_known(tmp_path: Path) -> None:
    unknown: dict[str, object] = {
        "Xmp.dc.title": None,
        "Xmp.dc.source": "",
        "Xmp.dc.subject": [],
        "Xmp.dc.rights": "free",
    }
    (tmp_path / "a.xmp").write_bytes(xmp_packet(unknown))
    assert [key for key in read(tmp_path / "a.xmp") if key.startswith("Xmp.")] == ["Xmp.dc.rights"]


@pytest.mark.parametrize("key", ["Xmp.nonsense.Title", "Exif.Photo.PhotographicSensitivity", "title"])
def test_an_unknown_key_is_named(key: str, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(encode_jpeg(np.zeros((8, 8, 3), np.uint8)))
    with pytest.raises(ValueError, match=key):
        embed(tmp_path / "a.jpg", {key: "x"})


def test_embedding_adds_and_keeps_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(encode_jpeg(np.zeros((8, 8, 3), np.uint8), xmp=xmp_packet({"Xmp.dc.source": "before"})))
    embed(path, {"Exif.Photo.ExposureTime": "1/30", "Exif.Image.Artist": "Invented Person", "Xmp.dc.rights": "free"})
    found = read(path)
    assert found["Exif.Photo.ExposureTime"] == "1/30"
    assert found["Xmp.dc.source"] == "before"
    assert found["Xmp.dc.rights"] == "free"


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1"])
def test_a_cameras_name_is_read_so_that_it_can_be_written_again(encoding: str, tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", np.full((64, 64), 3000, np.uint16))
    name = "Invänted Cam".encode(encoding).ljust(15)
    path.write_bytes(path.read_bytes().replace(b"Invented Camera", name[:15]))
    model = read_shot(path).camera_model
    assert model == "Invänted Cam"
    assert "Invänted Cam" in xmp_packet({"Xmp.tiff.Model": model}).decode()


def test_no_picture_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"no picture")
    with pytest.raises(UnreadablePictureError):
        read(tmp_path / "a.jpg")
