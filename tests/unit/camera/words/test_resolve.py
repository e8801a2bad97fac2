"""Whole bodies: what is found, what is reported, what a person is told."""

import pytest

from tests.unit.camera.words.bodies import card_reader, eos, nikon, replaced, sony, text, widget, without
from tethercap.camera.words.base_iso import base_iso
from tethercap.camera.words.resolve import read_value, understand
from tethercap.camera.words.understanding import Control, FocusKind
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.exposure.settings import Setting, ValueKind


def test_a_body_that_is_wholly_in_hand() -> None:
    understanding = understand(eos())
    assert understanding.control is Control.FULL
    assert understanding.why == ()
    assert understanding.states[Setting.ISO].value.kind is ValueKind.AUTO
    assert understanding.states[Setting.PROGRAM].value.word == "manual"
    assert understanding.states[Setting.EXPOSURE_COMPENSATION].value.number == pytest.approx(-1 / 3)
    assert understanding.states[Setting.SHOTS_LEFT].value.number == 412
    assert understanding.focus is not None
    assert understanding.focus.kind is FocusKind.STEPS
    assert understanding.base_iso is not None
    assert (understanding.base_iso.iso, understanding.base_iso.certain) == (100, False)


def test_a_toggle_that_can_only_be_written_is_never_read_as_on() -> None:
    assert understand(eos()).states[Setting.LIVE_VIEW].value.kind is ValueKind.UNKNOWN


def test_exact_times_are_preferred_and_lists_are_sorted_by_whoever_shows_them() -> None:
    understanding = understand(nikon())
    assert understanding.widget_name(Setting.SHUTTER) == "shutterspeed2"
    kinds = {value.text: value.kind for value in understanding.states[Setting.SHUTTER].choices}
    assert kinds["65535/65535"] is ValueKind.BULB
    assert kinds["65535/65533"] is ValueKind.TIME


def test_a_code_beside_a_spelled_out_bulb_is_not_guessed() -> None:
    body = replaced(sony(), widget("shutterspeed", "65535/65533", ["Composite", "65535/65533", "Bulb", "60", "1/8000"]))
    state = understand(body).states[Setting.SHUTTER]
    assert state.value.kind is ValueKind.UNKNOWN
    assert [value.kind for value in state.choices[:3]] == [ValueKind.WORD, ValueKind.UNKNOWN, ValueKind.BULB]


@pytest.mark.parametrize(
    "aperture",
    [
        widget("aperture", "(null)"),
        widget("aperture", "Unknown value 0000", ["Unknown value 0000"]),
        widget("f-number", "f/0", ["f/0"], readonly=True),
        widget("f-number", "f/655.34", ["f/1", "f/2", "f/64"]),
        widget("f-number", 0.0, kind=WidgetKind.RANGE, limits=(0.0, 655.35, 0.01)),
        widget("f-number", "0", ["0"]),
    ],
)
def test_a_manual_lens_is_normal(aperture: Widget) -> None:
    understanding = understand(replaced(without(eos(), "aperture"), aperture))
    assert understanding.manual_lens
    assert understanding.control is Control.FULL
    assert "on the lens" in understanding.states[Setting.APERTURE].note


@pytest.mark.parametrize(("program", "is_manual"), [("AV", True), ("Manual", True), ("P", False), ("Custom", False)])
def test_a_list_without_a_current_aperture_means_a_manual_lens_only_where_it_is_ours(
    program: str, is_manual: bool
) -> None:
    shown = widget("aperture", "Unknown value 0000", ["4", "5.6"])
    assert understand(replaced(eos(), shown, widget("autoexposuremode", program))).manual_lens is is_manual


def test_an_aperture_known_by_number_means_that_the_lens_talks() -> None:
    body = replaced(
        without(eos(), "aperture"), widget("f-number", "(null)"), widget("5007", "430", kind=WidgetKind.MENU)
    )
    understanding = understand(body)
    assert not understanding.manual_lens
    assert understanding.numbered[Setting.APERTURE].current == pytest.approx(4.3)


def test_scene_modes_do_not_make_a_lens_manual() -> None:
    body = replaced(
        eos(), widget("aperture", "Unknown value 0000", ["Unknown value 0000"]), widget("autoexposuremode", "P")
    )
    understanding = understand(body)
    assert not understanding.manual_lens
    assert understanding.control is Control.LIMITED
    assert any("dial to M" in sentence for sentence in understanding.why)


@pytest.mark.parametrize(
    "shutter",
    [
        widget("shutterspeed", "auto", ["auto"]),
        widget("shutterspeed", "1/60", ["1/60"]),
        widget("shutterspeed", "1/60"),
        widget("shutterspeed", "1/60", ["1/60", "1/125"], readonly=True),
    ],
)
def test_a_missing_list_means_turn_the_dial(shutter: Widget) -> None:
    understanding = understand(replaced(eos(), shutter, widget("autoexposuremode", "AV")))
    assert understanding.control is Control.LIMITED
    assert understanding.why == ("The exposure time follows the mode dial. Turn the dial to M.",)
    assert understanding.states[Setting.SHUTTER].note == understanding.why[0]
    assert not understanding.states[Setting.SHUTTER].settable


def test_no_time_at_all_and_the_dial_at_m() -> None:
    understanding = understand(without(eos(), "shutterspeed"))
    assert understanding.control is Control.LIMITED
    assert "wake it" in understanding.why[0]


def test_no_switch_for_live_view_is_normal() -> None:
    understanding = understand(sony())
    assert Setting.LIVE_VIEW not in understanding.states
    assert any("no switch for live view" in note for note in understanding.notes)
    assert understanding.control is Control.FULL


@pytest.mark.parametrize(
    ("maker", "hint"),
    [
        ("Sony Corporation", "PC remote"),
        ("FUJIFILM", "tether"),
        ("OLYMPUS", "control"),
        ("Panasonic", "tethering"),
        ("LEICA", "PTP"),
        ("RICOH IMAGING", "PTP"),
        ("Nikon Corporation", "PTP"),
        ("Canon Inc.", "shooting"),
        ("Somebody", "tethering or remote"),
    ],
)
def test_wrong_usb_mode_names_the_menu(maker: str, hint: str) -> None:
    understanding = understand(card_reader(maker))
    assert understanding.control is Control.NONE
    assert hint in understanding.why[0]


@pytest.mark.parametrize(("packing", "told"), [("High Efficiency", True), ("Lossy", True), ("Lossless", False)])
def test_raw_packed_with_loss_is_told(packing: str, told: bool) -> None:
    notes = understand([*nikon(), widget("rawcompression", packing, ["Lossless", packing])]).notes
    assert any("with loss" in note for note in notes) is told


def test_nothing_at_all_is_understood_as_nothing() -> None:
    understanding = understand([])
    assert understanding.control is Control.NONE
    assert understanding.states == {}


def test_the_first_of_two_with_the_same_name_counts() -> None:
    understanding = understand([*eos(), widget("iso", "(null)"), text("batterylevel", "99%")])
    assert understanding.states[Setting.ISO].settable


def test_look_alikes_are_left_alone() -> None:
    alike = [
        widget("movieiso", "25600", ["100", "25600"]),
        widget("autoiso", "On", ["On", "Off"]),
        widget("movief-number", "f/22", ["f/22"]),
        widget("movieshutterspeed", "1/50", ["1/50"]),
        widget("exposurecompensation2", "On", ["On", "Off"]),
        widget("apertureatminfocallength", "3.5"),
    ]
    assert understand(alike).states == {}


def test_a_switch_is_no_exposure_compensation() -> None:
    body = replaced(eos(), widget("exposurecompensation", "On", ["On", "Off"]))
    assert Setting.EXPOSURE_COMPENSATION not in understand(body).states


def test_rubbish_does_not_hide_the_aperture() -> None:
    body = [widget("aperture", "8224", ["8224"]), *nikon()]
    assert understand(body).widget_name(Setting.APERTURE) == "f-number"


def test_a_list_of_numbers_for_the_lens_is_a_position() -> None:
    focus = understand([widget("manualfocusdrive", "0", ["0", "0", "0"])]).focus
    assert focus is not None
    assert focus.kind is FocusKind.POSITION


def test_values_read_back_follow_what_was_understood() -> None:
    slipped = understand(nikon(codes=range(14), labels=["JPEG Fine", "NEF (Raw)", "NEF+Fine", *"0123456789a"]))
    assert slipped.formats is not None
    assert read_value(understand(eos()), Setting.ISO, "Auto").kind is ValueKind.AUTO
    assert read_value(understand(eos()), Setting.APERTURE, "f/9").number == 9
    assert read_value(understand([]), Setting.SHUTTER, "1/30").number == pytest.approx(1 / 30)


@pytest.mark.parametrize(
    ("model", "offered", "iso", "certain"),
    [
        ("Z 9", [32, 64, 100], 64, True),
        ("NIKON Z 7_2", [32, 64, 100], 64, True),
        ("X-T4", [80, 100, 160, 200], 160, True),
        ("X-T4", [200, 400], 200, False),
        ("Unheard 1", [50, 100, 200], 100, False),
        ("Unheard 1", [80, 160], 160, False),
        ("Unheard 1", [50, 80], 80, False),
    ],
)
def test_base_iso(model: str, offered: list[float], iso: float, certain: bool) -> None:
    proposal = base_iso(model, offered)
    assert proposal is not None
    assert (proposal.iso, proposal.certain) == (iso, certain)


def test_no_list_no_base_iso() -> None:
    assert base_iso("Z 9", []) is None


class TestBattery:
    """The finest figure that can be believed."""

    @pytest.mark.parametrize(
        ("widgets", "percent"),
        [
            ([text("batterylevel", "50%"), text("Battery Level", "21%")], 21),
            ([text("batterylevel", "50%"), text("Batterie Ladezustand", "21%")], 21),
            ([text("batterylevel", "50%"), widget("5001", "21", ["100", "0", "50"])], 21),
            ([text("Battery Level", "3%"), widget("5001", "3", ["0", "1", "2", "3"])], 100),
            (
                [text("batterylevel", "100%"), text("Battery Level", "3%"), widget("5001", "3", ["0", "1", "2", "3"])],
                100,
            ),
            ([widget("5001", "2", ["0", "1", "2", "3"])], 67),
            ([text("batterylevel", "2%"), widget("5001", "2", ["0", "1", "2", "3"])], 67),
            ([text("batterylevel", "0%"), widget("5001", "0", ["0", "1", "2", "3"])], 0),
            ([text("batterylevel", "70%"), widget("5001", "7", [str(step) for step in range(11)])], 70),
            ([widget("5001", "65", ["5", "25", "50", "65", "80"])], 65),
            ([text("batterylevel", "253%"), text("manufacturer", "Sony Corporation"), widget("d218", "-1")], None),
            ([text("manufacturer", "Sony Corporation"), widget("d218", "43")], 43),
            ([text("manufacturer", "Nikon Corporation"), widget("d218", "43")], None),
            ([text("manufacturer", "FUJIFILM"), text("d36b", "100,0,0")], 100),
            (
                [text("batterylevel", "1000%"), widget("5001", "100", kind=WidgetKind.RANGE, limits=(1.0, 10.0, 20.0))],
                None,
            ),
            ([widget("5001", "50", kind=WidgetKind.RANGE, limits=(0.0, 100.0, 10.0))], 50),
            ([text("5001", "(null)")], None),
            ([], None),
        ],
    )
    def test_percent(self, widgets: list[Widget], percent: float | None) -> None:
        states = understand(widgets).states
        assert (states[Setting.BATTERY].value.number if Setting.BATTERY in states else None) == percent


class TestNumbered:
    """Settings found only by number are a help, never set."""

    @pytest.mark.parametrize(
        ("maker", "numbered", "setting", "current"),
        [
            ("Sony Corporation", widget("d20d", "65636"), Setting.SHUTTER, 1 / 100),
            ("OMSYSTEM", widget("d01c", "65561"), Setting.SHUTTER, 1 / 25),
            ("OMSYSTEM", widget("d002", "56"), Setting.APERTURE, 5.6),
            ("FUJIFILM", widget("500f", "-1", ["100", "200", "-1"]), Setting.ISO, "auto"),
            ("Somebody", widget("500d", "166"), Setting.SHUTTER, 0.0166),
            ("Sony Corporation", widget("d226", "16777215", ["16777215", "125"]), Setting.ISO, "auto"),
        ],
    )
    def test_help(self, maker: str, numbered: Widget, setting: Setting, current: float | str) -> None:
        understanding = understand([text("manufacturer", maker), numbered])
        shown = understanding.numbered[setting].current
        assert shown == (current if isinstance(current, str) else pytest.approx(current))
        assert setting not in understanding.states

    def test_another_maker_means_something_else_by_a_number(self) -> None:
        assert understand([text("manufacturer", "Nikon Corporation"), widget("d20d", "65636")]).numbered == {}
        # The same standard property counts microseconds here.
        assert understand([text("manufacturer", "FUJIFILM"), widget("500d", "19686")]).numbered == {}

    def test_a_code_for_bulb_is_no_time(self) -> None:
        assert understand([text("manufacturer", "Sony Corporation"), widget("d20d", "0")]).numbered == {}

    def test_named_settings_need_no_help(self) -> None:
        assert understand([*eos(), widget("500f", "800", ["800"])]).numbered == {}
