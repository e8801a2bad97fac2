"""Properties in standard places, read back by an XML parser that knows nothing of the library that wrote them."""

import xml.etree.ElementTree as ET

import pytest

from tests.unit.roll.rolls import setup
from tethercap.film.kinds import FilmKind
from tethercap.image_files.metadata import xmp_packet
from tethercap.pictures import ShotData
from tethercap.roll.lines import CameraUsed, Filed, ReasonText
from tethercap.roll.metadata import (
    OWN_PROPERTIES,
    document_id,
    exif_date,
    positive_properties,
    properties_for,
)
from tethercap.roll.names import FrameId
from tethercap.roll.setup import FrameNotes
from tethercap.roll.state import TakeRecord

# Namespaces as the standards print them: ISO 16684-1, CIPA DC-010, IPTC Photo Metadata.
RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
DC = "{http://purl.org/dc/elements/1.1/}"
EXIF = "{http://ns.adobe.com/exif/1.0/}"
EXIF_EX = "{http://cipa.jp/exif/1.0/}"
TIFF = "{http://ns.adobe.com/tiff/1.0/}"
PHOTOSHOP = "{http://ns.adobe.com/photoshop/1.0/}"
IPTC_CORE = "{http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/}"
IPTC_EXT = "{http://iptc.org/std/Iptc4xmpExt/2008-02-29/}"
XMP_MM = "{http://ns.adobe.com/xap/1.0/mm/}"
ST_REF = "{http://ns.adobe.com/xap/1.0/sType/ResourceRef#}"
ST_EVT = "{http://ns.adobe.com/xap/1.0/sType/ResourceEvent#}"
OWN = "{urn:tethercap:film:1.0#}"

ROLL = setup(
    film_stock="Example 100",
    film_speed_iso=80,
    creator="Ä. N.",
    rights="All rights reserved",
    caption="A <walk> & more",
    keywords=("lake", "boat"),
    place="a lake",
    taken_on="1998-07",
    original_camera="Example One",
    original_lens="50 mm",
    copy_lens="Macro by hand",
    notes="found in a box",
    frames=(FrameNotes(which="7", taken_on="1998-07-12", title="The pier"),),
)
TAKE = TakeRecord(
    2,
    "2031-04-05T10:00:00.000Z",
    Filed(
        frame="7",
        take=2,
        file="raw/X31-007_07_t2.dng",
        sha256="ab" * 32,
        size_bytes=3,
        accepted=True,
        forced=True,
        fired_by="forced",
        taken_at="2031-04-05T12:00:00.250+02:00",
        offset_mm=(0.1, -0.2),
        tilt_deg=0.5,
        corners_px=((1, 2), (3, 4), (5, 6), (7, 8)),
        findings=(ReasonText(code="clipped", text="The base is clipped.", severity="warning"),),
        shot=ShotData(exposure_s=1 / 60, f_number=8.0, iso=100, focal_length_mm=60.0),
        camera=CameraUsed(make="Example", model="Two", serial="123"),
        strip=2,
        mirrored=True,
        software="tethercap 0.1.0",
    ),
)


def _description(packet: bytes) -> ET.Element:
    found = ET.fromstring(packet.decode()).find(f"{RDF}RDF/{RDF}Description")
    assert found is not None
    return found


def _value(packet: bytes, name: str) -> object:
    """A property's text, or the list of its items; attribute and element form are the same in RDF."""
    description = _description(packet)
    if name in description.attrib:
        return description.attrib[name]
    element = description.find(name)
    if element is None:
        return None
    items = [item.text for item in element.iter(f"{RDF}li")]
    return items or element.text


SIDECAR = xmp_packet(properties_for(ROLL, FrameId(7), TAKE))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        (f"{DC}title", ["The pier"]),
        (f"{DC}description", ["A <walk> & more"]),
        (f"{DC}subject", ["lake", "boat"]),
        (f"{DC}creator", ["Ä. N."]),
        (f"{DC}rights", ["All rights reserved"]),
        (f"{DC}identifier", "X31-007_07"),
        (f"{EXIF}DateTimeOriginal", "1998-07-12"),
        (f"{EXIF}DateTimeDigitized", "2031-04-05T12:00:00.250+02:00"),
        (f"{PHOTOSHOP}DateCreated", "1998-07-12"),
        (f"{EXIF}FileSource", "3"),
        (f"{EXIF}ExposureTime", "1/60"),
        (f"{EXIF}FNumber", "8/1"),
        (f"{EXIF}FocalLength", "60/1"),
        (f"{EXIF}ISOSpeedRatings", ["100"]),
        (f"{EXIF}UserComment", ["found in a box"]),
        (f"{EXIF_EX}LensModel", "Macro by hand"),
        (f"{EXIF_EX}BodySerialNumber", "123"),
        (f"{TIFF}Make", "Example"),
        (f"{TIFF}Model", "Two"),
        (f"{TIFF}Orientation", "2"),
        (f"{IPTC_CORE}Location", "a lake"),
        (f"{IPTC_EXT}DigitalSourceType", "http://cv.iptc.org/newscodes/digitalsourcetype/negativeFilm"),
        (f"{XMP_MM}DocumentID", document_id("ab" * 32)),
        (f"{OWN}Roll", "X31-007"),
        (f"{OWN}Frame", "7"),
        (f"{OWN}Take", "2"),
        (f"{OWN}FilmStock", "Example 100"),
        (f"{OWN}FilmSpeedIso", "80"),
        (f"{OWN}OriginalCamera", "Example One"),
        (f"{OWN}OffsetYMm", "-0.200"),
        (f"{OWN}Forced", "True"),
        (f"{OWN}Findings", "warning: The base is clipped."),
        (f"{OWN}CornersPx", "1.0,2.0 3.0,4.0 5.0,6.0 7.0,8.0"),
    ],
)
def test_a_sidecar_says_it_where_the_standard_has_it(name: str, expected: object) -> None:
    assert _value(SIDECAR, name) == expected


def test_creators_are_in_order_and_keywords_are_not() -> None:
    description = _description(SIDECAR)
    assert description.find(f"{DC}creator/{RDF}Seq") is not None
    assert description.find(f"{DC}subject/{RDF}Bag") is not None


@pytest.mark.parametrize(
    ("kind", "term"),
    [
        (FilmKind.COLOUR_NEGATIVE, "negativeFilm"),
        (FilmKind.BW_NEGATIVE, "negativeFilm"),
        (FilmKind.SLIDE, "positiveFilm"),
    ],
)
def test_the_source_is_film_and_which(kind: FilmKind, term: str) -> None:
    properties = properties_for(setup(film_kind=kind), FrameId(7), TAKE)
    assert str(properties["Xmp.iptcExt.DigitalSourceType"]).endswith(f"/digitalsourcetype/{term}")


def test_what_is_not_known_is_not_claimed() -> None:
    bare = Filed(frame="1", take=1, file="raw/X31-007_01.dng", sha256="cd" * 32, size_bytes=1, accepted=True)
    properties = properties_for(setup(), FrameId(1), TakeRecord(1, "", bare))
    assert not [key for key, value in properties.items() if value in ("", (), None)]
    for key in ("Xmp.exif.DateTimeOriginal", "Xmp.photoshop.DateCreated", "Xmp.dc.rights", "Xmp.tiff.Orientation"):
        assert key not in properties
    xmp_packet(properties)


def test_a_positive_says_what_it_was_made_from() -> None:
    properties = positive_properties(ROLL, FrameId(7), TAKE, made_at="2031-04-05T12:01:00+02:00")
    packet = xmp_packet({key: value for key, value in properties.items() if key.startswith("Xmp.")})
    derived = _description(packet).find(f"{XMP_MM}DerivedFrom")
    assert derived is not None
    assert derived.attrib[f"{ST_REF}documentID"] == _value(SIDECAR, f"{XMP_MM}DocumentID")
    assert derived.attrib[f"{ST_REF}filePath"] == "raw/X31-007_07_t2.dng"
    step = _description(packet).find(f"{XMP_MM}History/{RDF}Seq/{RDF}li")
    assert step is not None
    assert step.attrib[f"{ST_EVT}action"] == "converted"
    assert step.attrib[f"{ST_EVT}softwareAgent"] == "tethercap 0.1.0"
    assert _value(packet, f"{XMP_MM}DocumentID") != _value(SIDECAR, f"{XMP_MM}DocumentID")
    assert "Xmp.tiff.Orientation" not in properties, "a positive is the right way round"
    assert properties["Exif.Photo.DateTimeOriginal"] == "1998:07:12 00:00:00"
    assert properties["Exif.Photo.DateTimeDigitized"] == "2031:04:05 12:00:00"


def test_a_positive_s_packet_has_dates_and_names_as_xmp_wants_them() -> None:
    packet = xmp_packet(positive_properties(ROLL, FrameId(7), TAKE, made_at="2031-04-05T12:01:00+02:00"))
    assert _value(packet, f"{EXIF}DateTimeOriginal") == "1998-07-12"
    assert _value(packet, f"{EXIF}DateTimeDigitized") == "2031-04-05T12:00:00.250+02:00"
    assert _value(packet, f"{EXIF_EX}LensModel") == "Macro by hand"
    assert _value(packet, f"{EXIF}LensModel") is None


def test_a_month_is_no_day() -> None:
    assert exif_date("1998-07") == ""
    assert exif_date("1998-07-12") == "1998:07:12 00:00:00"
    assert exif_date("1998-07-12T08:09") == "1998:07:12 00:00:00"
    assert exif_date("1998-07-12T08:09:10.5Z") == "1998:07:12 08:09:10"


def test_the_same_picture_has_the_same_sidecar() -> None:
    assert xmp_packet(properties_for(ROLL, FrameId(7), TAKE)) == SIDECAR


def test_every_property_of_our_own_is_explained() -> None:
    keys = {*properties_for(ROLL, FrameId(7), TAKE), *positive_properties(ROLL, FrameId(7), TAKE)}
    own = {key.removeprefix("Xmp.tethercap.") for key in keys if key.startswith("Xmp.tethercap.")}
    assert own <= set(OWN_PROPERTIES)


@pytest.mark.parametrize(
    ("exposure_s", "expected"),
    [(1 / 8000, "1/8000"), (0.0167, "1/60"), (0.25, "1/4"), (0.3, "3/10"), (0.5, "1/2"), (1.3, "13/10"), (30, "30/1")],
)
def test_exposure_times_as_people_know_them(exposure_s: float, expected: str) -> None:
    shot = ShotData(exposure_s=exposure_s)
    filed = Filed(frame="1", take=1, file="raw/a.dng", sha256="", size_bytes=1, accepted=True, shot=shot)
    assert properties_for(setup(), FrameId(1), TakeRecord(1, "", filed))["Xmp.exif.ExposureTime"] == expected
