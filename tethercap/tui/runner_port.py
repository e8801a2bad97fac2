"""What the screens ask of the running roll; `tethercap.session.runner.RollRunner` is one."""

from collections.abc import Callable
from typing import Literal, Protocol

from tethercap.exposure.settings import Setting, Value
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.snapshot import Snapshot


class RunnerPort(Protocol):
    """A roll being captured. Every method but `run` returns at once and may be called from any thread."""

    def run(self) -> None:
        """Run until stopped; the screens call it in a thread of its own."""
        ...

    def stop(self) -> None:
        """End after what is under way."""
        ...

    def fire(self) -> None:
        """Take the frame in view if it may be taken."""
        ...

    def force(self) -> None:
        """Take the frame in view whatever the verdict."""
        ...

    def set_mode(self, mode: Mode) -> None:
        """Choose who fires."""
        ...

    def skip(self, why: str = ...) -> None:
        """Leave the current frame out."""
        ...

    def mark_blank(self) -> None:
        """Note the current frame as unexposed."""
        ...

    def go_to(self, frame_id: str) -> None:
        """Go on from another frame number."""
        ...

    def retake(self, frame_id: str) -> None:
        """Take one frame again, then come back."""
        ...

    def start_strip(
        self, *, numbers_run: Literal[1, -1] | None = None, mirrored: bool | None = None, first: str | None = None
    ) -> None:
        """Say how the strip in the holder lies, or the next one where there is none."""
        ...

    def change(self, setting: Setting, value: Value | float | str) -> None:
        """Change a setting of the camera."""
        ...

    def put_back(self) -> None:
        """Set back what somebody turned on the camera."""
        ...

    def pull_again(self) -> None:
        """Pull the last picture once more."""
        ...

    def snapshot(self) -> Snapshot:
        """Where the roll stands."""
        ...


RunnerMaker = Callable[[Callable[[SessionEvent], None]], RunnerPort]
"""Makes a runner that reports to the callable it is given, from its own thread."""
