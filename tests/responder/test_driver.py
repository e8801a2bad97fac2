"""The real driver against the bodies: what a program that uses it would see."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
import rawpy


@pytest.mark.parametrize("body", ["standard", "0a"])
def test_settings_are_set_and_read_back(start_camera: Any, body: str) -> None:
    camera = start_camera("--body", body, "--serial", "S-7")
    results = camera.drive(
        ["init"],
        ["set", "iso", "400"],
        ["set", "shutterspeed", "0.0333s"],
        ["set", "f-number", "f/5.6"],
        ["get", "batterylevel"],
        ["get", "expprogram"],
        ["get", "focusmode"],
        ["get", "serialnumber"],
        ["choices", "iso"],
        ["exit"],
    )
    assert results[:8] == [True, "400", "0.0333s", "f/5.6", "87%", "M", "Manual", "S-7"]
    assert results[8][:3] == ["100", "125", "160"]
    settings = camera.control("settings")["settings"]
    assert (settings["iso"], settings["time_s"], settings["f_number"]) == (400, 1 / 30, 5.6)


def test_a_shot_on_the_0a_body_lands_on_the_card_and_is_read_in_chunks(start_camera: Any, tmp_path: Path) -> None:
    camera = start_camera("--body", "0a")
    saved = tmp_path / "shot.dng"
    results = camera.drive(
        ["init"],
        ["get", "capturetarget"],
        ["set", "imagequality", "NEF (Raw)"],
        ["preview"],
        ["trigger"],
        ["events", 10, 1, True],
        ["info", "$-1"],
        ["read", "$-1"],
        ["fetch", "$-1", str(saved)],
        ["preview"],
        ["exit"],
    )
    assert results[1:3] == ["Memory card", "NEF (Raw)"]
    assert results[3]["jpeg"] is True
    events = [event for event in results[5] if event[0] in ("file", "complete")]
    assert events == [["file", "/store_00010001/DCIM/100TCAP", "TCAP0001.DNG"], ["complete"]]
    data = saved.read_bytes()
    assert results[6] == {"size": len(data), "type": "image/x-adobe-dng", "width": 640, "height": 480}
    assert results[7]["bytes"] == len(data)
    assert results[7]["sha256"] == results[8]["sha256"] == hashlib.sha256(data).hexdigest()
    assert results[9]["jpeg"] is True
    with rawpy.imread(str(saved)) as raw:
        assert raw.raw_image.shape == (480, 640)
        assert raw.white_level == 16383
    assert camera.control("shots")["shots"][0]["name"] == "TCAP0001.DNG"


def test_capture_on_the_standard_body(start_camera: Any) -> None:
    camera = start_camera("--body", "standard")
    results = camera.drive(["init"], ["capture"], ["capture"], ["preview"], ["exit"])
    assert results[1:3] == [["/store_00010001/DCIM/100TCAP", f"TCAP000{n}.DNG"] for n in (1, 2)]
    assert results[3]["error"] == -6


def test_raw_and_jpeg_give_two_files_and_names_wrap(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--first-number", "9999")
    results = camera.drive(
        ["init"],
        ["set", "imagequality", "NEF+Fine"],
        ["trigger"],
        ["events", 10, 2],
        ["trigger"],
        ["events", 10, 2],
        ["exit"],
    )
    files = [event[1:] for result in (results[3], results[5]) for event in result if event[0] == "file"]
    assert files == [
        ["/store_00010001/DCIM/100TCAP", "TCAP9999.DNG"],
        ["/store_00010001/DCIM/100TCAP", "TCAP9999.JPG"],
        ["/store_00010001/DCIM/101TCAP", "TCAP0001.DNG"],
        ["/store_00010001/DCIM/101TCAP", "TCAP0001.JPG"],
    ]


def test_ram_target_of_the_0a_body(start_camera: Any) -> None:
    camera = start_camera("--body", "0a")
    results = camera.drive(["init"], ["trigger"], ["events", 10, 1], ["fetch", "$-1"], ["exit"], target="sdram")
    assert [event for event in results[2] if event[0] == "file"] == [["file", "/", "capt0000.nef"]]
    assert results[3]["bytes"] > 600_000


def test_the_driver_reconnects_after_the_link_was_dropped(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "drop-command:op=0x9203,times=1")
    results = camera.drive(["init"], ["preview"], ["exit"], ["init"], ["preview"], ["exit"])
    assert results[1]["error"] < 0
    assert results[4]["jpeg"] is True
