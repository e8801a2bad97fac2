"""Reading and writing dumps: the driver's text form with all that happens to it on the way, and JSON."""

import gzip
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.camera.words.bodies import eos, nikon, sony, text, widget
from tethercap.camera.words.dump import parse_json, parse_text, read_dumps, write_dump
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.errors import ProfileError

PLAIN = """\
Manufacturer: Invented Optics
Model: Invented One
Capture Formats: No Image Capture, No Open Capture, Canon EOS Capture
/main/imgsettings/iso
Label: ISO Speed
Readonly: 0
Type: RADIO
Current: 100
Choice: 0 Auto
Choice: 1 100
Choice: 2 200
END
/main/capturesettings/f-number
Label: F-Number
Readonly: 1
Type: RANGE
Current: 4,5
Bottom: 0
Top: 655,35
Step: 0,01
END
/main/settings/datetime
Label: Camera Date and Time
Readonly: 0
Type: DATE
Current: 1730000000
Printable: Sun Oct 27 04:33:20 2024
Help: Use 'now' as the current time when setting.
END
/main/status/Battery Level
Label: Battery Level
Readonly: 1
Type: TEXT
Current: 77%
END
"""


def test_the_plain_form() -> None:
    dump = parse_text(PLAIN, "one.txt")
    assert (dump.make, dump.model) == ("Invented Optics", "Invented One")
    assert dump.capture == "No Image Capture, No Open Capture, Canon EOS Capture"
    iso, aperture, date, battery = dump.widgets
    assert (iso.name, iso.section, iso.label, iso.readonly) == ("iso", "imgsettings", "ISO Speed", False)
    assert iso.choices == ("Auto", "100", "200")
    assert (aperture.readonly, aperture.range) == (True, (0.0, 655.35, 0.01))
    assert date.kind is WidgetKind.DATE
    assert (battery.name, battery.current) == ("Battery Level", "77%")


def test_the_old_front_end_writes_neither_end_nor_readonly() -> None:
    old = "\n".join(line for line in PLAIN.splitlines() if line != "END" and not line.startswith("Readonly"))
    dump = parse_text(old)
    assert [one.name for one in dump.widgets] == ["iso", "f-number", "datetime", "Battery Level"]
    assert {one.readonly for one in dump.widgets} == {None}


def test_carriage_returns_and_no_break_spaces() -> None:
    carried = PLAIN.replace("\n", "\r\n").replace("Choice: 1 ", "Choice:\u00a01\u00a0")
    assert parse_text(carried).widgets == parse_text(PLAIN).widgets


@pytest.mark.parametrize(
    ("whole", "eaten"),
    [
        ("Label: ISO", "abel: ISO"),
        ("Current: 100", "urrent: 100"),
        ("Choice: 1 100", "Choice : 1 100"),
        ("Choice: 1 100", "hoice: 1 100"),
        ("/main/imgsettings/iso", "main/imgsettings/iso"),
    ],
)
def test_eaten_beginnings(whole: str, eaten: str) -> None:
    iso = parse_text(PLAIN.replace(whole, eaten)).widgets[0]
    assert (iso.name, iso.current, iso.choices) == ("iso", "100", ("Auto", "100", "200"))


def test_a_name_without_its_path() -> None:
    iso = parse_text(PLAIN.replace("/main/imgsettings/iso", "iso")).widgets[0]
    assert (iso.name, iso.path, iso.section) == ("iso", "", "")


def test_messages_of_the_front_end_are_passed_over() -> None:
    noisy = PLAIN.replace("Choice: 2 200\n", "*** Error (-1: 'Unspecified error') ***\nChoice: 2 200\n")
    noisy = "Detected a camera.\n\n" + noisy + "\n*** Error: no such key ***\n"
    assert parse_text(noisy).widgets == parse_text(PLAIN).widgets


def test_a_value_wrapped_by_a_terminal_is_joined() -> None:
    long = "Choice: 2 " + "x" * 69
    wrapped = parse_text(PLAIN.replace("Choice: 2 200", f"{long}\nyz"))
    assert wrapped.widgets[0].choices[2] == "x" * 69 + "yz"


def test_a_setting_that_stands_twice_is_no_new_dump() -> None:
    twice = PLAIN + PLAIN[PLAIN.index("/main/status/Battery Level") :]
    assert len(parse_text(twice).widgets) == 5


def test_several_dumps_in_one_file() -> None:
    block = PLAIN.index("/main/capturesettings")
    several = PLAIN[:block] + "$ again\n" + PLAIN + PLAIN[:block]
    dump = parse_text(several)
    assert dump.widgets == parse_text(PLAIN).widgets
    assert dump.notes == ("the file holds 3 dumps, the fullest is used",)


def test_texts_with_colons_stay_whole() -> None:
    dump = parse_text(PLAIN.replace("Current: 77%", "Current: Type: 12:30"))
    assert dump.widgets[3].current == "Type: 12:30"


@given(st.text())
def test_any_text_is_read_without_a_crash(anything: str) -> None:
    parse_text(anything)


_WORDS = st.text(st.characters(categories=("L", "N", "P", "S"), exclude_characters="@:/\\"), min_size=1, max_size=12)
_WIDGETS = st.lists(
    st.builds(
        lambda name, current, choices, readonly: widget(name, current, choices, readonly=readonly, label="Invented"),
        st.from_regex(r"[a-z]{3,10}", fullmatch=True).map("set{}".format),
        _WORDS,
        st.lists(_WORDS, max_size=6),
        st.sampled_from([True, False, None]),
    ),
    max_size=8,
    unique_by=lambda one: one.name,
)


@given(_WIDGETS)
def test_what_is_written_is_read_back(widgets: list[Widget]) -> None:
    assert list(parse_text(write_dump(widgets)).widgets) == widgets


@pytest.mark.parametrize("body", [eos(), nikon(), sony()], ids=["eos", "nikon", "sony"])
def test_whole_bodies_are_written_and_read_back(body: list[Widget]) -> None:
    assert list(parse_text(write_dump(body, heading=["Model: Invented"])).widgets) == body


def _record(widgets: list[Widget]) -> dict[str, object]:
    return {
        "file": "one.txt",
        "manufacturer": "Invented Optics",
        "model": "Invented One",
        "widgets": {
            one.name: {
                "path": one.path,
                "label": one.label,
                "readonly": one.readonly,
                "type": str(one.kind),
                "current": one.current,
                "choices": list(one.choices),
                **({"range": {"bottom": 0, "top": "655,35", "step": "0,01"}} if one.range else {}),
            }
            for one in widgets
        },
    }


@pytest.mark.parametrize("packed", [True, False])
def test_json_lines(tmp_path: Path, packed: bool) -> None:
    lines = "\n".join(json.dumps(_record(body)) for body in (eos(), sony())) + "\n"
    path = tmp_path / "two.jsonl"
    path.write_bytes(gzip.compress(lines.encode()) if packed else lines.encode())
    first, second = read_dumps(path)
    assert list(first.widgets) == eos()
    assert (first.file, first.make, first.model) == ("one.txt", "Invented Optics", "Invented One")
    ranges = [one.range for one in second.widgets if one.name == "f-number"]
    assert ranges == [(0.0, 655.35, 0.01)]


def test_a_json_list_and_widgets_in_a_list() -> None:
    record = _record(eos())
    entries = record["widgets"]
    assert isinstance(entries, dict)
    record["widgets"] = [{"name": name, **entry} for name, entry in entries.items()]
    (dump,) = parse_json(json.dumps([record]), "list.json")
    assert list(dump.widgets) == eos()


def test_a_kind_nobody_knows_is_kept_as_a_text() -> None:
    (dump,) = parse_json('{"widgets": {"iso": {"type": "SPIRAL", "current": "100"}}}', "odd.json")
    assert dump.widgets[0].kind is WidgetKind.TEXT


@pytest.mark.parametrize("content", ["", "no dump at all\n", '{"widgets": 3}', "[1, 2", '{"widgets": {}}', "\x00\xff"])
def test_what_is_no_dump_is_said_to_be_none(tmp_path: Path, content: str) -> None:
    path = tmp_path / "nothing.txt"
    path.write_text(content)
    with pytest.raises(ProfileError, match=r"nothing\.txt"):
        read_dumps(path)


def test_a_packed_file_that_is_cut_short(tmp_path: Path) -> None:
    path = tmp_path / "cut.gz"
    path.write_bytes(gzip.compress(PLAIN.encode())[:40])
    with pytest.raises(ProfileError, match="cannot be read"):
        read_dumps(path)


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read"):
        read_dumps(tmp_path / "none.txt")


def test_latin_one_is_read(tmp_path: Path) -> None:
    path = tmp_path / "old.txt"
    path.write_bytes(PLAIN.replace("ISO Speed", "Künstler").encode("latin-1"))
    (dump,) = read_dumps(path)
    assert dump.widgets[0].label == "Künstler"


SECRETS = {
    "ownername": "Ada Invented",
    "artist": "A. Invented Person",
    "copyright": "(c) Invented 2031",
    "serialnumber": "30912077",
    "eosserialnumber": "0123456789",
    "nickname": "adas-body",
    "devicename": "Ada Phone",
    "501f": "Invented, all rights",
    "d402": "Friendly Ada",
    "imgcomment": "call me at home",
    "networkssid": "adas wifi",
}


class TestPrivacy:
    """What says whose camera it is does not leave the house."""

    @pytest.fixture
    def written(self) -> str:
        telling = [text(name, secret, section="settings") for name, secret in SECRETS.items()]
        places = [
            text("d033", "Ada Inv.", label="Kamerabesitzer"),
            text("position", "48.13713 N", label="Somewhere"),
            text("fileprefix", "adas-body_", label="File Name Prefix"),
            text("note", "mail ada@invented.example or 192.168.0.17, aa:bb:cc:dd:ee:ff", label="Note"),
            text("d303", "1", label="Mail of Ada Invented"),
        ]
        return write_dump([*telling, *places, *eos()], heading=["Model: Invented One", "Serial Number: 30912077"])

    @pytest.mark.parametrize(
        "secret",
        [*SECRETS.values(), "Ada Inv.", "48.13713", "adas-body", "ada@", "192.168", "aa:bb", "30912077"],
    )
    def test_it_is_gone(self, written: str, secret: str) -> None:
        assert secret not in written

    def test_settings_are_kept_to_the_letter(self, written: str) -> None:
        read = {one.name: one for one in parse_text(written).widgets}
        for one in eos():
            assert read[one.name] == one

    def test_times_are_no_positions_and_versions_no_addresses(self) -> None:
        kept = [
            widget("shutterspeed", "0.0100s", ["0.0001s", "0.0100s"]),
            text("deviceversion", "3-1.0.0.25", label="Device Version"),
            text("firmwareversion", "1.10.2.4", label="Firmware Version"),
        ]
        assert list(parse_text(write_dump(kept)).widgets) == kept

    def test_a_friendly_name_that_is_the_model_does_not_erase_the_model(self) -> None:
        body = [text("cameramodel", "Invented One"), text("d402", "Invented One", label="Friendly Device Name")]
        read = {one.name: one.current for one in parse_text(write_dump(body)).widgets}
        assert read == {"cameramodel": "Invented One", "d402": "(removed)"}

    def test_a_short_serial_number_does_not_eat_figures(self) -> None:
        body = [text("serialnumber", "100"), text("note", "ISO 100 at 1/100"), *eos()]
        read = {one.name: one.current for one in parse_text(write_dump(body)).widgets}
        assert (read["serialnumber"], read["note"], read["iso"]) == ("(removed)", "ISO 100 at 1/100", "Auto")

    def test_empty_fields_stay_empty(self) -> None:
        (owner,) = parse_text(write_dump([text("ownername", "")])).widgets
        assert owner.current in ("", None)

    def test_switches_about_networks_are_settings(self) -> None:
        switch = widget("wifi", "On", ["On", "Off"], label="Wi-Fi")
        assert list(parse_text(write_dump([switch])).widgets) == [switch]

    def test_a_line_feed_in_a_value_cannot_forge_a_setting(self) -> None:
        forged = text("note", "a\n/main/x/iso\nLabel: x\nType: TEXT\nCurrent: 1")
        assert len(parse_text(write_dump([forged])).widgets) == 1
