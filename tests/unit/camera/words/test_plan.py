"""From a wish to the text that is sent, and back from what the camera shows."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.camera.words.bodies import eos, nikon, replaced, sony, widget
from tethercap.camera.words.plan import plan_change, read_back
from tethercap.camera.words.resolve import understand
from tethercap.errors import NotSupportedError
from tethercap.exposure.settings import Setting, Value, ValueKind

EOS, NIKON, SONY = understand(eos()), understand(nikon()), understand(sony())


@pytest.mark.parametrize(
    ("understanding", "setting", "wish", "name", "sent"),
    [
        (EOS, Setting.SHUTTER, 1 / 30, "shutterspeed", "1/30"),
        (EOS, Setting.SHUTTER, 10.0, "shutterspeed", "10.3"),
        (EOS, Setting.SHUTTER, "bulb", "shutterspeed", "bulb"),
        (NIKON, Setting.SHUTTER, "bulb", "shutterspeed2", "65535/65535"),
        (NIKON, Setting.SHUTTER, 0.75, "shutterspeed2", "10/13"),
        (EOS, Setting.APERTURE, 9.0, "aperture", "8"),
        (EOS, Setting.APERTURE, 10.0, "aperture", "11"),
        (NIKON, Setting.APERTURE, 8, "f-number", "f/8"),
        (SONY, Setting.APERTURE, 8.0, "f-number", "8"),
        (EOS, Setting.ISO, 100, "iso", "100"),
        (EOS, Setting.ISO, "auto", "iso", "Auto"),
        (SONY, Setting.ISO, 250.0, "iso", "200"),
        (EOS, Setting.EXPOSURE_COMPENSATION, -2 / 3, "exposurecompensation", "-0.6"),
        (EOS, Setting.EXPOSURE_COMPENSATION, 0.0, "exposurecompensation", "0"),
        (EOS, Setting.IMAGE_FORMAT, "raw", "imageformat", "RAW"),
        (EOS, Setting.IMAGE_FORMAT, "raw+jpeg", "imageformat", "RAW + L"),
        (NIKON, Setting.IMAGE_FORMAT, "raw", "imagequality", "NEF (Raw)"),
        (SONY, Setting.IMAGE_FORMAT, "RAW+HEIF (Std)", "imagequality", "RAW+HEIF (Std)"),
        (EOS, Setting.CAPTURE_TARGET, "card", "capturetarget", "Memory card"),
        (SONY, Setting.CAPTURE_TARGET, "card+memory", "capturetarget", "card+sdram"),
        (EOS, Setting.LIVE_VIEW, "on", "viewfinder", "1"),
        (EOS, Setting.FOCUS_DRIVE, "far-2", "manualfocusdrive", "Far 2"),
        (EOS, Setting.LIVE_VIEW_ZOOM, 5, "eoszoom", "5"),
        (EOS, Setting.QUIET_SHUTTER, "quiet", "silentmode", "1"),
        (NIKON, Setting.FOCUS_DRIVE, -250.0, "manualfocusdrive", "-250"),
        (NIKON, Setting.FOCUS_DRIVE, 99_999, "manualfocusdrive", "32767"),
    ],
)
def test_the_nearest_on_offer_is_sent_in_the_cameras_words(understanding, setting, wish, name, sent) -> None:  # type: ignore[no-untyped-def]
    planned = plan_change(understanding, setting, wish)
    assert (planned.widget, planned.text) == (name, sent)


def test_a_choice_is_sent_back_to_the_letter() -> None:
    for understanding in (EOS, NIKON, SONY):
        for setting, state in understanding.states.items():
            for choice in state.choices if state.settable else ():
                assert plan_change(understanding, setting, choice).text == choice.text


def test_a_value_of_another_camera_is_carried_over_by_its_meaning() -> None:
    other = Value(ValueKind.NUMBER, "0.0166s", number=0.0166)
    assert plan_change(EOS, Setting.SHUTTER, other).text == "1/60"
    assert plan_change(NIKON, Setting.SHUTTER, Value(ValueKind.BULB, "Langzeitbelichtung")).text == "65535/65535"


def test_slipped_labels_are_undone() -> None:
    labels = ["JPEG Basic", "JPEG Normal", "JPEG Fine", "Unknown value 0003", "NEF (Raw)", "NEF+Basic", "NEF+Normal",
              "NEF+Fine", "Unknown value 0008"]  # fmt: skip
    understanding = understand(nikon(codes=range(9), labels=labels))
    planned = plan_change(understanding, Setting.IMAGE_FORMAT, "raw")
    assert planned.text == "NEF+Fine"
    after = widget("imagequality", "NEF+Fine", labels)
    assert read_back(planned, after, understanding).taken
    assert not read_back(planned, widget("imagequality", "NEF (Raw)", labels), understanding).taken


@pytest.mark.parametrize(
    ("understanding", "setting", "wish", "said"),
    [
        (SONY, Setting.LIVE_VIEW, "on", "no setting"),
        (EOS, Setting.BATTERY, 100, "not let"),
        (EOS, Setting.CAPTURE_TARGET, "card+memory", "does not offer"),
        (EOS, Setting.IMAGE_FORMAT, "tiff", "does not offer"),
        (NIKON, Setting.FOCUS_DRIVE, "far-2", "wants a number"),
        (EOS, Setting.SHUTTER, "unknown", "does not offer"),
        (EOS, Setting.CAPTURE_TARGET, 3.0, "no figures"),
    ],
)
def test_what_cannot_be_is_said(understanding, setting, wish, said) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(NotSupportedError, match=said):
        plan_change(understanding, setting, wish)


def test_a_locked_setting_tells_what_to_turn() -> None:
    locked = understand(replaced(eos(), widget("shutterspeed", "auto", ["auto"]), widget("autoexposuremode", "AV")))
    with pytest.raises(NotSupportedError, match="dial to M"):
        plan_change(locked, Setting.SHUTTER, 1 / 60)


def test_what_the_camera_made_of_it_is_read_back() -> None:
    planned = plan_change(NIKON, Setting.APERTURE, 8.0)
    taken = read_back(planned, widget("f-number", "f/8"), NIKON)
    refused = read_back(planned, widget("f-number", "f/5.6"), NIKON)
    assert taken.taken
    assert not refused.taken
    assert refused.got.number == 5.6


def test_a_range_is_read_back_as_a_number() -> None:
    planned = plan_change(SONY, Setting.APERTURE, 5.6)
    assert read_back(planned, widget("f-number", 5.599999904632568), SONY).taken


@given(st.floats(1e-5, 100))
def test_nothing_on_offer_is_closer_in_stops(wish: float) -> None:
    planned = plan_change(EOS, Setting.SHUTTER, wish)
    assert planned.aim.number is not None
    offered = [value.number for value in EOS.states[Setting.SHUTTER].choices if value.number is not None]
    assert abs(math.log(planned.aim.number / wish)) == min(abs(math.log(other / wish)) for other in offered)
