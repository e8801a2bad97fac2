"""What positives and proofs say about themselves, read by others: Pillow for EXIF, an XML parser for XMP."""

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.unit.batch.shot_rolls import file_shots
from tests.unit.image_files.tiffs import write_tiff
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.roll_jobs import reconvert_roll
from tethercap.image_files.exif_block import exif_segment
from tethercap.image_files.metadata import xmp_packet
from tethercap.image_files.tiff import Compression, TiffOptions, read_tiff
from tethercap.pictures import ShotData
from tethercap.roll.folder import Roll, TakeOutcome
from tethercap.roll.setup import FrameNotes

_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_NAMES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "stRef": "http://ns.adobe.com/xap/1.0/sType/ResourceRef#",
    "stEvt": "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
    "iptcExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "tethercap": "urn:tethercap:film:1.0#",
}
_EXIF_POINTER = 34665


@pytest.fixture(scope="module")
def roll_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("embedded")
    path = folder / "roll"
    file_shots(path, folder, (4,))
    raw = (path / "raw" / "X31-007_01.dng").read_bytes()
    shot = ShotData(
        1 / 60, 8.0, 100, "2031-04-05T12:00:01", "Invented Works", "Invented One", "77", "Invented 90", 90.0
    )
    with Roll.open(path, sidecar=xmp_packet) as roll:
        roll.change_setup(
            {"creator": "Zofia Wymyślona", "rights": "invented", "caption": "An invented picture."},
            [FrameNotes(which="2", taken_on="1998-07-12")],
        )
        outcome = replace(TakeOutcome(accepted=True), shot=shot, taken_at="2031-04-05T12:00:01+02:00")
        content = raw + b"\0"
        roll.file(roll.receive("2", ".dng", [content], len(content)), outcome)
        list(reconvert_roll(roll, SerialExecutor()))
    return path


def packet_of(path: Path) -> ElementTree.Element:
    content = path.read_bytes()
    start, end = content.index(b"<x:xmpmeta"), content.index(b"</x:xmpmeta>") + len(b"</x:xmpmeta>")
    return ElementTree.fromstring(content[start:end])


def said(packet: ElementTree.Element, prefix: str, name: str) -> str:
    """A property's text, whether it is an attribute, an element or an array of one."""
    key = f"{{{_NAMES[prefix]}}}{name}"
    for element in packet.iter():
        if key in element.attrib:
            return element.attrib[key]
        if element.tag == key:
            return " ".join(text.strip() for text in element.itertext() if text.strip())
    return ""


@pytest.mark.parametrize("place", ["positive/X31-007_02.tif", "proof/X31-007_02.jpg"])
def test_exif_is_what_others_read(roll_path: Path, place: str) -> None:
    with Image.open(roll_path / place) as opened:
        exif = opened.getexif()
        photo = dict(exif.get_ifd(_EXIF_POINTER))
    assert exif[271] == "Invented Works"
    assert exif[272] == "Invented One"
    assert photo[36867] == "1998:07:12 00:00:00", "when the picture was taken"
    assert photo[36868] == "2031:04:05 12:00:01", "when the film was copied"
    assert float(photo[33434]) == pytest.approx(1 / 60)
    assert (float(photo[33437]), photo[34855], float(photo[37386])) == (8.0, 100, 90.0)
    assert photo[42036] == "Invented 90"
    assert photo[41728] == b"\x03", "a digital still camera"


@pytest.mark.parametrize("place", ["positive/X31-007_02.tif", "proof/X31-007_02.jpg"])
def test_xmp_tells_what_the_picture_comes_from_and_what_it_shows(roll_path: Path, place: str) -> None:
    packet = packet_of(roll_path / place)
    assert said(packet, "dc", "creator") == "Zofia Wymyślona"
    assert said(packet, "dc", "description") == "An invented picture."
    assert said(packet, "photoshop", "DateCreated") == "1998-07-12"
    assert said(packet, "iptcExt", "DigitalSourceType").endswith("/digitalsourcetype/negativeFilm")
    assert said(packet, "stRef", "filePath") == "raw/X31-007_02.dng"
    assert said(packet, "stRef", "documentID") == said(packet, "xmpMM", "OriginalDocumentID") != ""
    assert said(packet, "stEvt", "action") == "converted"
    assert said(packet, "tethercap", "Frame") == "2"
    assert "density-over-base" in said(packet, "tethercap", "Steps")


def test_the_picture_is_stored_upright_and_says_nothing_else(roll_path: Path) -> None:
    with Image.open(roll_path / "positive" / "X31-007_02.tif") as opened:
        assert opened.getexif().get(274, 1) == 1
    assert said(packet_of(roll_path / "proof" / "X31-007_02.jpg"), "tethercap", "Mirrored") == ""


def test_the_same_roll_gives_the_same_bytes_again(roll_path: Path) -> None:
    places = sorted((roll_path / "positive").iterdir()) + sorted((roll_path / "proof").iterdir())
    before = [place.read_bytes() for place in places]
    with Roll.open(roll_path, sidecar=xmp_packet) as roll:
        list(reconvert_roll(roll, SerialExecutor()))
    assert [place.read_bytes() for place in places] == before


@pytest.mark.parametrize("compression", list(Compression))
def test_exif_stands_behind_pixels_of_any_packing(tmp_path: Path, compression: Compression) -> None:
    pixels = np.random.default_rng(1).integers(0, 65535, (67, 51, 3)).astype(np.uint16)
    options = TiffOptions(
        compression=compression, properties={"Exif.Photo.FNumber": "28/10", "Exif.Photo.LensModel": "Invented"}
    )
    for name in ("a.tif", "b.tif"):
        write_tiff(tmp_path / name, pixels, options)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
    np.testing.assert_array_equal(read_tiff(tmp_path / "a.tif"), pixels)
    with Image.open(tmp_path / "a.tif") as opened:
        photo = opened.getexif().get_ifd(_EXIF_POINTER)
    assert (float(photo[33437]), photo[42036]) == (2.8, "Invented")


def test_nothing_to_say_takes_no_room() -> None:
    assert exif_segment({}) == b""
    assert exif_segment({"Xmp.dc.title": "x"}) == b""
