"""The same runner on the virtual camera inside the driver's own wheel: no live view, JPEG only, and it says so."""

import threading
from pathlib import Path

import pytest

from tests.contract.subjects import virtual_camera
from tethercap.check import registry
from tethercap.cli._wiring import Workers, open_roll, runner_maker
from tethercap.film.kinds import FilmKind
from tethercap.roll.fixity import verify
from tethercap.roll.setup import RollSetup
from tethercap.session import events
from tethercap.session.events import SessionEvent
from tethercap.session.options import RunnerOptions
from tethercap.session.runner import RollRunner


@pytest.mark.timeout(120)
def test_a_key_fires_pulls_and_files_and_the_tool_says_that_it_cannot_watch(tmp_path: Path) -> None:
    said: list[SessionEvent] = []
    setup = RollSetup(id="plain", film_kind=FilmKind.BW_NEGATIVE, film_format="135-36x24")
    with (
        virtual_camera(tmp_path / "card") as subject,
        open_roll(tmp_path / "plain", setup) as roll,
        Workers.started(convert=False) as workers,
    ):

        def listen(event: SessionEvent) -> None:
            said.append(event)
            if isinstance(event, events.FrameFiled | events.FrameHeld):
                runner.stop()

        runner: RollRunner = runner_maker(subject.camera, roll, workers, options=RunnerOptions())(listen)
        limit = threading.Timer(60, runner.stop)
        limit.start()
        runner.fire()
        runner.run()
        limit.cancel()
        limit.join()
    assert any(isinstance(event, events.CannotWatch) for event in said)
    filed = [event for event in said if isinstance(event, events.FrameFiled)]
    assert [(event.frame_id, event.path.name) for event in filed] == [("1", "plain_01.jpg")]
    checked = next(event for event in said if isinstance(event, events.ShotChecked))
    assert registry.NOT_RAW in [finding.kind for finding in checked.findings.findings]
    assert verify(tmp_path / "plain").is_sound
