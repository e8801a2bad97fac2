"""What is said when somebody turns a dial in mid-roll."""

from pathlib import Path

from tests.unit.session.stage import set_stage
from tethercap.camera.fake import usual_settings
from tethercap.exposure.settings import Setting
from tethercap.session import events
from tethercap.session.events import Mode
from tethercap.session.settings_guard import drift, guarded_values

PHASES = [(0.5, "none"), (1.0, "moving"), (4.0, "seated"), (4.5, "none")]


def test_nothing_has_drifted_from_itself() -> None:
    assert drift(guarded_values(usual_settings()), usual_settings()) == {}


def test_a_dial_turned_on_the_body_is_said_and_can_be_put_back(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", PHASES)
    stage.clock.at(1.0, lambda: stage.camera.turn_dial(Setting.ISO, 400))
    stage.clock.at(2.0, stage.runner.put_back)
    with stage.roll:
        stage.runner.run()
    said = [event.sentence for event in stage.told(events.Advised) if "Turned" in event.sentence]
    assert len(said) == 1
    assert "iso from 100 to 400" in said[0]
    changes = [event.change for event in stage.told(events.SettingChanged)]
    assert [(change.setting, change.got.number) for change in changes] == [(Setting.ISO, 100)]


def test_what_we_change_ourselves_is_what_is_wanted_from_then_on(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", PHASES, mode=Mode.HANDS_FREE)
    stage.clock.at(0.6, lambda: stage.runner.change(Setting.ISO, 200))
    stage.clock.at(1.0, lambda: stage.camera.turn_dial(Setting.SHUTTER, 1 / 125))
    with stage.roll:
        stage.runner.run()
    said = [event.sentence for event in stage.told(events.Advised) if "Turned" in event.sentence]
    assert len(said) == 1
    assert "iso" not in said[0]
    assert "shutter from" in said[0]
