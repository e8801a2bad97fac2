"""Labels that lie: slipped tables, a label for two formats, codes nobody knows."""

import pytest

from tests.unit.camera.words.bodies import eos, nikon, replaced, widget, without
from tethercap.camera.words.formats import LabelTrust
from tethercap.camera.words.resolve import understand
from tethercap.exposure.image_formats import ImageFormat
from tethercap.exposure.settings import Setting

EIGHT = ["JPEG Basic", "JPEG Normal", "JPEG Fine", "NEF (Raw)", "NEF+Basic", "NEF+Normal", "NEF+Fine", "TIFF (RGB)"]
FOURTEEN_BY_EIGHT = [
    "JPEG Basic", "JPEG Normal", "JPEG Fine", "Unknown value 0003", "NEF (Raw)", "NEF+Basic", "NEF+Normal", "NEF+Fine",
    *(f"Unknown value {code:04x}" for code in range(8, 14)),
]  # fmt: skip
TRUE_FOURTEEN = [f"JPEG {n}" for n in range(7)] + ["NEF (Raw)"] + [f"NEF+JPEG {n}" for n in range(6)]


def test_true_names_are_believed() -> None:
    formats = understand(nikon()).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.OK, "NEF (Raw)")
    assert formats.with_jpeg == ("NEF+Basic", "NEF+Normal", "NEF+Fine")


@pytest.mark.parametrize("has_codes", [True, False])
def test_names_of_eight_rows_on_a_body_with_fourteen(has_codes: bool) -> None:
    body = nikon(codes=range(14), labels=FOURTEEN_BY_EIGHT)
    formats = understand(body if has_codes else without(body, "5004")).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.SHIFTED, "NEF+Fine")
    assert formats.format_of("NEF+Fine") is ImageFormat.RAW
    assert formats.format_of("NEF (Raw)") is None


def test_slipped_names_in_another_language() -> None:
    labels = [label.replace("Fine", "Fein").replace("Unknown value", "Unbekannter Wert") for label in FOURTEEN_BY_EIGHT]
    formats = understand(without(nikon(codes=range(14), labels=labels), "5004")).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.SHIFTED, "NEF+Fein")


def test_a_body_with_fourteen_codes_and_no_seventh_offers_no_raw_that_can_be_told() -> None:
    codes = [code for code in range(14) if code != 7]
    labels = [label for label in FOURTEEN_BY_EIGHT if label != "NEF+Fine"]
    understanding = understand(nikon(codes=codes, labels=labels))
    assert understanding.formats is not None
    assert understanding.formats.raw_alone is None
    assert any("names are off" in sentence for sentence in understanding.why)


def test_a_driver_that_knows_the_fourteen_is_believed() -> None:
    formats = understand(nikon(codes=range(14), labels=TRUE_FOURTEEN)).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.OK, "NEF (Raw)")


@pytest.mark.parametrize(
    ("codes", "labels"),
    [
        (range(8), EIGHT),
        (range(8), EIGHT[:7]),
        ((0, 1, 2, 4, 5, 6, 7), [label for label in EIGHT if label != "NEF (Raw)"]),
    ],
)
def test_names_one_row_early(codes: list[int], labels: list[str]) -> None:
    formats = understand(nikon(codes=codes, labels=labels)).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.SHIFTED_OLD, "NEF+Basic")


def test_names_one_row_early_without_codes() -> None:
    museum = [*without(nikon(), "imagequality", "5004"), widget("imgquality", "JPEG Fine", EIGHT, readonly=None)]
    formats = understand(museum).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.SHIFTED_OLD, "NEF+Basic")


def test_a_compact_with_codes_of_its_own() -> None:
    labels = ["NEF+Fine", "Unknown value 000c", "Unknown value 0019"]
    formats = understand([widget("imgquality", "Unknown value 000c", labels)]).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.UNKNOWN_CODES, None)


def test_one_label_for_two_formats() -> None:
    twice = replaced(eos(), widget("imageformat", "RAW", ["L", "M", "RAW", "RAW", "RAW + M"]))
    formats = understand(twice).formats
    assert formats is not None
    assert (formats.trust, formats.raw_alone) == (LabelTrust.DUPLICATE, "RAW")
    hidden = replaced(eos(), widget("imageformat", "RAW", ["L", "M", "RAW", "RAW + M"]))
    assert getattr(understand(hidden).formats, "trust", None) is LabelTrust.DUPLICATE


def test_the_writable_of_two_format_widgets_is_chosen() -> None:
    body = [
        widget("imagequality", "JPEG Fine", ["JPEG Fine", "NEF (Raw)"], readonly=True),
        widget("imagequality2", "JPEG Fine", ["JPEG Fine", "NEF (Raw)"]),
    ]
    assert understand(body).widget_name(Setting.IMAGE_FORMAT) == "imagequality2"


def test_jpeg_compression_is_not_taken_for_the_format() -> None:
    body = [
        widget("imageformat", "JPEG", ["JPEG", "RAW"], section="imgsettings"),
        widget("imagequality", "superfine", ["superfine", "fine", "normal"], section="imgsettings"),
    ]
    understanding = understand(body)
    assert understanding.widget_name(Setting.IMAGE_FORMAT) == "imageformat"
