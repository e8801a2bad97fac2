"""Notices on the desktop: what is worth one, and that the person decides when."""

import pytest

from tests.tui.bench import Bench, until
from tests.tui.scripted_runner import Gate, seated
from tethercap.errors import CameraGoneError
from tethercap.session import events
from tethercap.session.events import SessionEvent
from tethercap.tui import app as app_module
from tethercap.tui.notices import notice_of
from tethercap.tui.terminal_talents import NoticeWay, Talents

GONE = CameraGoneError("The camera does not answer.")


@pytest.mark.parametrize(
    ("event", "body"),
    [
        (events.StripEnded(3, 6), "Strip 3 is done, 6 frames filed."),
        (events.StripEnded(3, 1), "Strip 3 is done, 1 frame filed."),
        (events.StripEnded(3, 0), None),
        (events.FrameHeld("14", (), ("The film slipped.",)), "Frame 14: The film slipped."),
        (events.FrameHeld("14", (), ()), None),
        (events.CameraTroubled(GONE, recovering=True), "The camera does not answer."),
        (events.NextFrameSet("15"), None),
    ],
)
def test_what_needs_a_hand_is_said_and_what_is_done(event: SessionEvent, body: str | None) -> None:
    notice = notice_of(event, "invented-07")
    assert (notice.body if notice is not None else None) == body


@pytest.mark.parametrize(
    ("wanted", "looking", "shown"),
    [("when away", True, 0), ("when away", False, 1), ("always", True, 1), ("never", False, 0)],
)
async def test_a_notice_comes_when_the_person_wants_it(
    wanted: str, looking: bool, shown: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[str] = []
    monkeypatch.setattr(app_module, "write_to_terminal", lambda _app, text: written.append(text))
    gate = Gate()
    bench = Bench([*seated(), gate, events.StripEnded(3, 6)], notices=wanted)
    bench.app.talents = Talents(notices=NoticeWay.OSC_777)
    async with bench.app.run_test() as pilot:
        bench.app.app_focus = looking
        gate.open.set()
        await until(pilot, lambda: bench.runner is not None and bench.runner.played.is_set())
        await pilot.pause(0.15)
        text = "\x1b]777;notify;roll invented-07;Strip 3 is done, 6 frames filed.\x1b\\"
        assert [each for each in written if "Strip 3" in each] == [text] * shown
