"""The real app over a scripted runner, for tests of its screens."""

from collections.abc import Callable

from textual.message import Message
from textual.pilot import Pilot

from tests.tui.scripted_runner import ScriptedRunner, Step
from tethercap.session.events import SessionEvent
from tethercap.tui.app import TerminalApp
from tethercap.tui.lines import text_of
from tethercap.tui.preferences import Preferences
from tethercap.tui.screens.capture import CaptureScreen
from tethercap.tui.widgets.live_view import LiveView
from tethercap.tui.widgets.rows import Rows


class Bench:
    """An app over a scripted runner, and what happened in it."""

    def __init__(self, steps: list[Step], **options: object) -> None:
        self.runner: ScriptedRunner | None = None
        self.messages: list[Message] = []
        self._steps = steps
        self._options = options
        wishes = {name: options.pop(name) for name in ("keys", "notices") if name in options}
        self.app = TerminalApp(
            lambda: CaptureScreen(self._make, roll_name="invented-07", title="invented film"),
            preferences=Preferences(**wishes),  # type: ignore[arg-type]
        )

    def _make(self, on_event: Callable[[SessionEvent], None]) -> ScriptedRunner:
        self.runner = ScriptedRunner(on_event, self._steps, **self._options)  # type: ignore[arg-type]
        return self.runner

    @property
    def asked(self) -> list[tuple[object, ...]]:
        assert self.runner is not None
        return self.runner.asked

    def run(self, size: tuple[int, int] = (120, 40)) -> "Running":
        return Running(self, size)

    def text(self, widget: str) -> str:
        return "\n".join(text_of(line) for line in self.app.screen.query_one(widget, Rows).lines)


class Running:
    """`async with bench.run() as pilot`: started, script played, everything shown."""

    def __init__(self, bench: Bench, size: tuple[int, int]) -> None:
        self._bench = bench
        self._context = bench.app.run_test(size=size, message_hook=bench.messages.append)

    async def __aenter__(self) -> Pilot[int]:
        pilot = await self._context.__aenter__()
        await until(pilot, lambda: self._bench.runner is not None and self._bench.runner.played.is_set())
        await pilot.pause()
        return pilot

    async def __aexit__(self, *error: object) -> None:
        await self._context.__aexit__(*error)  # type: ignore[arg-type]


async def until(pilot: Pilot[int], holds: Callable[[], bool]) -> None:
    """Let the app work until something holds; the test's own time limit ends it otherwise."""
    while not holds():
        await pilot.pause(0.01)


def picture_fits(view: LiveView) -> bool:
    """A picture is shown, in the view's present size."""
    return view.shown is not None and view.shown.shape == (view.size.height, view.size.width)
