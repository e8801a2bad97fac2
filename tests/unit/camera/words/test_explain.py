"""The command that says how a dump is understood."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.unit.camera.words.bodies import card_reader, eos, nikon, replaced, sony, widget
from tethercap.camera.words.dump import write_dump
from tethercap.cli.main import tethercap


def _run(tmp_path: Path, body: list, *options: str) -> str:  # type: ignore[type-arg]
    path = tmp_path / "body.txt"
    path.write_text(write_dump(body, heading=["Model: Invented One"]))
    result = CliRunner().invoke(tethercap, ["cameras", "--explain", str(path), *options], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def test_json_holds_one_answer(tmp_path: Path) -> None:
    told = json.loads(_run(tmp_path, nikon(), "--json"))
    assert told["model"] == "Invented One"
    assert told["shutter_widget"] == "shutterspeed2"
    assert told["shutter_values"] == pytest.approx([1 / 8000, 1 / 125, 1 / 60, 10 / 13])
    assert told["shutter_special"] == {"time": ["65535/65533"], "bulb": ["65535/65535"]}
    assert (told["raw_widget"], told["raw_only"], told["raw_trust"]) == ("imagequality", "NEF (Raw)", "ok")
    assert (told["target_card"], told["target_ram"], told["target_both"]) == ("Memory card", "Internal RAM", None)
    assert (told["focus_kind"], told["liveview_widget"], told["battery_percent"]) == ("range", "viewfinder", 80)
    assert (told["report"], told["usable"]) == ("full", "full")


def test_a_range_names_no_list(tmp_path: Path) -> None:
    told = json.loads(_run(tmp_path, sony(), "--json"))
    assert (told["aperture_kind"], told["aperture_values"], told["aperture_current"]) == ("range", [], 4.5)
    assert told["iso_unusable"] == ["200 Multi Frame Noise Reduction"]
    assert told["target_both"] == "card+sdram"


def test_the_table_is_in_the_trades_words(tmp_path: Path) -> None:
    shown = _run(tmp_path, eos())
    assert "Invented One: full" in shown
    for part in ("f/5.6", "1/60 s", "ISO auto", "−1/3", "21 %", "RAW alone is “RAW”", "a proposal"):
        assert part in shown


def test_what_to_turn_comes_first(tmp_path: Path) -> None:
    shown = _run(tmp_path, replaced(eos(), widget("shutterspeed", "auto", ["auto"]), widget("autoexposuremode", "AV")))
    assert shown.splitlines()[0].endswith("limited")
    assert shown.splitlines()[1].strip() == "! The exposure time follows the mode dial. Turn the dial to M."


def test_a_body_in_the_wrong_usb_mode(tmp_path: Path) -> None:
    shown = _run(tmp_path, card_reader("FUJIFILM"))
    assert "not controllable" in shown
    assert "USB tether shooting" in shown


def test_odd_texts_are_no_markup(tmp_path: Path) -> None:
    shown = _run(tmp_path, replaced(eos(), widget("picturestyle", "[bold]x[/nothing]", ["[bold]x[/nothing]", "y"])))
    assert "[bold]x" in shown


def test_escape_sequences_do_not_reach_the_terminal(tmp_path: Path) -> None:
    shown = _run(tmp_path, replaced(eos(), widget("picturestyle", "\x1b[2Jx", ["\x1b[2Jx", "y"])))
    assert "\x1b" not in shown
