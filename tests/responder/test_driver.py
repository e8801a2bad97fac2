"""The real driver against every body: what a program that uses it would see.

Each family makes the driver run its own code; the table says how the driver names things there.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import rawpy

from mock_camera.codes import Operation, Response
from mock_camera.settings import F_NUMBERS, ISOS, TIMES_S

CARD = "/store_00010001/DCIM/100TCAP"


@dataclass(frozen=True)
class Family:
    """How the driver names settings and files of a body."""

    body: str
    sets: dict[str, str]
    raw_and_jpeg: tuple[str, list[str]]
    before: list[list[Any]] = field(default_factory=list)
    live_view: bool = True
    first_file: tuple[str, str] = (CARD, "TCAP0001.DNG")
    in_chunks: bool = True


STANDARD_SETS = {"iso": "400", "shutterspeed": "0.0333s", "f-number": "f/5.6", "exposurecompensation": "0.333"}
FAMILIES = [
    Family("standard", STANDARD_SETS, ("imagequality", ["Unknown value 0003"]), live_view=False),
    Family("stream", STANDARD_SETS, ("imagequality", ["Unknown value 0003"])),
    Family("0a", STANDARD_SETS | {"imagequality": "NEF (Raw)"}, ("imagequality", ["NEF+Fine"])),
    Family(
        "0b",
        {"iso": "400", "shutterspeed": "1/30", "aperture": "5.6", "imageformat": "RAW", "exposurecompensation": "0.3"},
        ("imageformat", ["RAW + L"]),
        before=[["preview"]],
    ),
    Family(
        "0e",
        {"iso": "400", "shutterspeed": "1/30", "f-number": "f/5.6", "imageformat": "RAW"},
        ("imageformat", ["RAW + JPEG Fine"]),
    ),
    Family(
        "11",
        {"iso": "400", "shutterspeed": "1/30", "f-number": "f/5.6", "imagequality": "RAW"},
        ("imagequality", ["RAW+JPEG (Fine)", "RAW+JPEG"]),
        before=[["set", "d222", "17"]],
        first_file=("/", "capt_TCAP0001.DNG"),
        in_chunks=False,
    ),
    Family("1c", {"iso": "400", "shutterspeed": "1/30", "f-number": "5.6", "imageformat": "3"}, ("imageformat", ["2"])),
    Family(
        "om",
        {"iso": "400", "shutterspeed": "1/30", "aperture": "5.6", "imageformat": "RAW"},
        ("imageformat", ["Large Fine JPEG+RAW"]),
    ),
]
every_family = pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.body)


def files_of(events: list[Any]) -> list[tuple[str, str]]:
    return [(event[1], event[2]) for event in events if event[0] == "file"]


@every_family
def test_settings_are_set_read_back_and_outlive_the_session(start_camera: Any, family: Family) -> None:
    camera = start_camera("--body", family.body, "--serial", "S-7")
    sets = [["set", name, content] for name, content in family.sets.items()]
    gets = [["get", name] for name in (*family.sets, "serialnumber", "batterylevel")]
    commands = [["init"], *family.before, *sets, ["exit"], ["init"], *family.before, *gets, ["exit"]]
    results = camera.drive(*commands)
    first, last = 1 + len(family.before), len(commands) - 1 - len(gets)
    assert results[first : first + len(sets)] == list(family.sets.values())
    assert results[last : last + len(sets)] == list(family.sets.values())
    assert results[-3] == "S-7"
    assert results[-2] in ("87%", "75%")
    settings = camera.control("settings")["settings"]
    assert (settings["iso"], settings["time_s"], settings["f_number"]) == (400, 1 / 30, 5.6)


def number_in(text: str) -> float:
    """Return the number that a choice of the driver spells: 'f/8', '0.0333s', '1/60', '1/1.3', '30s'."""
    over, _, under = text.removeprefix("f/").removesuffix("s").partition("/")
    return float(over) / float(under or 1)


@every_family
def test_the_choices_are_the_series_of_thirds(start_camera: Any, family: Family) -> None:
    """Whatever the units on the wire: the driver must show every nominal value of the series, in order."""
    camera = start_camera("--body", family.body)
    names = ["iso", "shutterspeed", "aperture" if "aperture" in family.sets else "f-number"]
    results = camera.drive(["init"], *family.before, *(["choices", name] for name in names), ["exit"])
    for shown, series in zip(results[-4:-1], (ISOS, TIMES_S, F_NUMBERS), strict=True):
        numbers = [number_in(text) for text in shown if text != "Bulb"]
        # Names are rounded and the standard counts 0.1 ms; a third of a stop is 26 % in time, 12 % in aperture.
        timely = series is TIMES_S
        assert numbers == pytest.approx(list(series), rel=0.12 if timely else 0.05, abs=6e-5 if timely else 0)


@every_family
def test_a_shot_is_announced_pulled_and_opened(start_camera: Any, tmp_path: Path, family: Family) -> None:
    camera = start_camera("--body", family.body)
    saved = tmp_path / "shot.dng"
    results = camera.drive(
        ["init"],
        *family.before,
        ["preview"],
        ["trigger"],
        ["events", 10, 1, True],
        ["info", "$-1"],
        ["read" if family.in_chunks else "fetch", "$-1"],
        ["fetch", "$-1", str(saved)],
        ["preview"],
        ["exit"],
    )
    preview, _, events, info, chunks, whole, after, _ = results[1 + len(family.before) :]
    assert files_of(events) == [family.first_file]
    data = saved.read_bytes()
    assert info == {"size": len(data), "type": info["type"], "width": 640, "height": 480}
    assert chunks["sha256"] == whole["sha256"] == hashlib.sha256(data).hexdigest()
    with rawpy.imread(str(saved)) as raw:
        assert (raw.raw_image.shape, raw.white_level) == ((480, 640), 16383)
    if family.live_view:
        assert (preview["jpeg"], after["jpeg"]) == (True, True)
    else:
        assert (preview["error"], after["error"]) == (-6, -6)
    shots = camera.control("shots")["shots"]
    assert [(shot["n"], shot["name"], shot["body_button"]) for shot in shots] == [(1, "TCAP0001.DNG", False)]


@every_family
def test_the_body_button_raw_with_jpeg_and_the_wrap_of_names(start_camera: Any, family: Family) -> None:
    camera = start_camera("--body", family.body, "--first-number", "9999")
    results = camera.drive(
        ["init"],
        *family.before,
        ["push_any", *family.raw_and_jpeg],
        ["control", "press"],
        ["events", 10, 2],
        ["control", "press"],
        ["events", 10, 2],
        ["exit"],
    )
    # The driver may tell of a file twice, by the event and by its own look at the card.
    files = list(dict.fromkeys(path for result in results if isinstance(result, list) for path in files_of(result)))
    folder, prefix = family.first_file[0], family.first_file[1].removesuffix("TCAP0001.DNG")
    second = folder.replace("100TCAP", "101TCAP") if len(folder) > 1 else folder
    assert files == [
        (folder, f"{prefix}TCAP9999.DNG"),
        (folder, f"{prefix}TCAP9999.JPG"),
        (second, f"{prefix}TCAP0001.DNG"),
        (second, f"{prefix}TCAP0001.JPG"),
    ]
    assert [shot["body_button"] for shot in camera.control("shots")["shots"]] == [True, True]


@pytest.mark.parametrize("body", ["standard", "0a", "0b", "0e", "1c", "11", "om"])
def test_capture_in_one_call(start_camera: Any, body: str) -> None:
    camera = start_camera("--body", body)
    before = [["set", "d222", "17"]] if body == "11" else []
    results = camera.drive(["init"], *before, ["capture"], ["exit"])
    assert results[-2][1].endswith("TCAP0001.DNG")


def test_ram_target_of_the_0a_body(start_camera: Any) -> None:
    camera = start_camera("--body", "0a")
    results = camera.drive(["init"], ["trigger"], ["events", 10, 1], ["fetch", "$-1"], ["exit"], target="sdram")
    assert files_of(results[2]) == [("/", "capt0000.nef")]
    assert results[3]["bytes"] > 600_000


def test_ram_target_of_the_0b_body(start_camera: Any) -> None:
    camera = start_camera("--body", "0b")
    results = camera.drive(
        ["init"], ["preview"], ["trigger"], ["events", 10, 1], ["fetch", "$-1"], ["exit"], target="sdram"
    )
    assert files_of(results[3]) == [("/", "capt0000.cr2")]
    assert results[4]["bytes"] > 600_000


def test_the_fast_release_of_the_0b_body(start_camera: Any) -> None:
    camera = start_camera("--body", "0b")
    results = camera.drive(
        ["init"],
        ["preview"],
        ["push_any", "eosremoterelease", ["Press Full MF", "Press Full"]],
        ["push_any", "eosremoterelease", ["Release", "Release Full"]],
        ["events", 10, 1],
        ["exit"],
    )
    assert files_of(results[4]) == [(CARD, "TCAP0001.DNG")]


@pytest.mark.parametrize(
    ("body", "widget", "content"),
    [
        ("0a", "manualfocusdrive", 50.0),
        ("0b", "manualfocusdrive", "Near 1"),
        ("11", "manualfocus", 3.0),
        ("om", "manualfocusdrive", "Far 2"),
    ],
)
def test_the_focus_drive_moves_in_live_view(start_camera: Any, body: str, widget: str, content: Any) -> None:
    camera = start_camera("--body", body)
    results = camera.drive(["init"], ["preview"], ["push", widget, content], ["exit"])
    assert results[2] is True


def test_the_focus_drive_of_the_0a_body_ends_at_its_stop(start_camera: Any) -> None:
    camera = start_camera("--body", "0a")
    results = camera.drive(["init"], ["preview"], ["push", "manualfocusdrive", 30_000.0], ["exit"])
    assert results[2]["error"] == -113
    assert "Nikon manual focus at limit." in results[2]["text"][0]


def test_a_dial_turned_on_the_body_is_reported(start_camera: Any) -> None:
    camera = start_camera("--body", "0a")
    results = camera.drive(
        ["init"], ["control", "dial", {"setting": "iso", "value": 800}], ["events", 1.0], ["get", "iso"], ["exit"]
    )
    assert any(event[0] == "other" and "500f" in event[1] for event in results[2])
    assert results[3] == "800"


def test_live_view_of_the_0a_body_turns_the_body_button_to_ram(start_camera: Any) -> None:
    """The driver sets the recording medium when live view begins; a program that wants the card sets it back."""
    camera = start_camera("--body", "0a")
    results = camera.drive(
        ["init"],
        ["preview"],
        ["get", "recordingmedia"],
        ["control", "press"],
        ["events", 5, 1],
        ["set", "recordingmedia", "Card"],
        ["control", "press"],
        ["events", 5, 1],
        ["exit"],
    )
    assert results[2] == "SDRAM"
    assert files_of(results[4]) == [("/", "capt0000.nef")]
    assert files_of(results[7]) == [(CARD, "TCAP0002.DNG")]


def test_a_body_in_the_wrong_mode_shows_its_card_and_refuses_to_fire(start_camera: Any) -> None:
    camera = start_camera("--body", "storage")
    results = camera.drive(["init"], ["free_kb"], ["trigger"], ["preview"], ["exit"])
    assert results[1] > 0
    assert results[2] == {"error": -6, "text": ["Sorry, your camera does not support generic capture"]}
    assert results[3]["error"] == -6


def test_a_second_program_is_turned_away_and_the_first_goes_on(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "0a")
    first = connect(camera).open()
    assert camera.drive(["init"])[0]["error"] < 0
    assert first.ask(Operation.GET_STORAGE_IDS)[0] == Response.OK
