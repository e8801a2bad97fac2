"""A camera in memory, for tests of everything that stands above a camera.

It keeps the contract of `tethercap.camera.base.Camera` and nothing else: no driver, no process, no thread. Time comes
from the clock that is passed in, so a test with a manual clock decides when pictures arrive.
"""

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tethercap.camera.base import (
    NO_PICTURE,
    CameraAbilities,
    CameraEvent,
    CameraFile,
    CameraIdentity,
    CameraLost,
    CaptureFinished,
    FileAppeared,
    Fired,
    SettingMoved,
    SuppliesSeen,
)
from tethercap.camera.words.plan import choose
from tethercap.clock import Clock
from tethercap.errors import CameraError, CameraGoneError, CameraRefusedError, NotSupportedError
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value, ValueKind
from tethercap.pictures import LiveJpeg

PIECE_BYTES = 1 << 20
FOLDER = "/store_00010001/DCIM/100FAKE"


@dataclass(frozen=True, slots=True)
class FakeFile:
    """What one exposure leaves on the fake card."""

    content: bytes
    suffix: str = ".DNG"


def _numbers(setting: Setting, now: float, choices: Sequence[float], form: str) -> SettingState:
    def value(number: float) -> Value:
        return Value(ValueKind.NUMBER, form.format(number), number)

    return SettingState(setting, value(now), tuple(map(value, choices)), settable=True)


def _words(setting: Setting, now: str, choices: Sequence[str], *, settable: bool = True) -> SettingState:
    def value(word: str) -> Value:
        return Value(ValueKind.WORD, word.upper(), word=word)

    return SettingState(setting, value(now), tuple(map(value, choices)), settable=settable)


def usual_settings() -> dict[Setting, SettingState]:
    """Return settings such as a body on a copy stand has."""
    states = (
        _numbers(Setting.ISO, 100, (100, 200, 400, 800), "{:g}"),
        _numbers(Setting.APERTURE, 8, (5.6, 8, 11), "f/{:g}"),
        _numbers(Setting.SHUTTER, 1 / 60, (1 / 30, 1 / 60, 1 / 125), "{:.4f}s"),
        _words(Setting.IMAGE_FORMAT, "raw", ("raw", "raw+jpeg", "jpeg")),
        _words(Setting.PROGRAM, "manual", ("manual",), settable=False),
        _words(Setting.CAPTURE_TARGET, "card", ("card",)),
    )
    return {state.setting: state for state in states}


class FakeCamera:
    """A scripted camera.

    Parameters
    ----------
    clock : Clock
        Tells the time, and waits in `latest_live`.
    live : callable
        Gets the sequence number of a live picture, returns its JPEG; None for a camera without live view.
    expose : callable
        Gets the number of a shot, 0 for the first, returns the files that it leaves.
    settings : mapping, optional
    identity : CameraIdentity, optional
    live_period_s : float
        Time between live pictures, s.
    file_after_s : float
        Time from the release to its files, s.
    """

    def __init__(
        self,
        clock: Clock,
        *,
        live: Callable[[int], bytes] | None = None,
        expose: Callable[[int], Sequence[FakeFile]] = lambda number: (FakeFile(b"picture %d" % number),),
        settings: Mapping[Setting, SettingState] | None = None,
        identity: CameraIdentity | None = None,
        live_period_s: float = 1 / 30,
        file_after_s: float = 0.2,
    ) -> None:
        self._clock = clock
        self._live = live
        self._expose = expose
        self._settings = dict(usual_settings() if settings is None else settings)
        self._identity = identity or CameraIdentity("fake:1", "Invented", "Fake body", "FAKE0001", "1.0")
        notes = () if live else ("This camera sends no live view: the film cannot be watched.",)
        self._abilities = CameraAbilities(live is not None, True, True, notes)
        self._live_period_s, self._file_after_s = live_period_s, file_after_s
        self._live_since_s: float | None = None
        self._first_sequence = 0
        self._shots = 0
        self._due: deque[CameraEvent] = deque()
        self._card: dict[str, bytes] = {}
        self._lost: CameraError | None = None
        self._failures: dict[str, deque[CameraError]] = {}
        self.calls: list[str] = []
        """Names of the contract's methods in the order of their calls, `latest_live` and `events` left out."""

    # What a test does to it

    def press(self) -> None:
        """Press the body's own button."""
        self._release()

    def turn_dial(self, setting: Setting, wanted: Value | float | str) -> None:
        """Change a setting on the body."""
        state = self._settings[setting]
        self._settings[setting] = replace(state, value=choose(state, wanted))
        self._due.append(SettingMoved(setting.value, self._clock.now_s()))

    def use_up(self, percent: float, card_free_bytes: int | None) -> None:
        """Let the camera tell what it has left."""
        battery = Value(ValueKind.NUMBER, f"{percent:.0f}%", percent)
        states = {Setting.BATTERY: SettingState(Setting.BATTERY, battery)}
        self._settings |= states
        self._due.append(SuppliesSeen(states, card_free_bytes, self._clock.now_s()))

    def fail_next(self, method: str, error: CameraError) -> None:
        """Let the next call of a method raise; several errors are raised one after the other."""
        self._failures.setdefault(method, deque()).append(error)

    def lose(self, why: str = "The cable was pulled.") -> None:
        """Lose the camera until `reopen`."""
        self._lost = CameraGoneError(why)
        self._live_since_s = None
        self._due.append(CameraLost(why, self._clock.now_s()))

    # The contract

    @property
    def identity(self) -> CameraIdentity:
        """Who it is."""
        return self._identity

    @property
    def abilities(self) -> CameraAbilities:
        """What it can do."""
        return self._abilities

    def _enter(self, method: str) -> None:
        self.calls.append(method)
        if self._lost is not None:
            raise self._lost
        if self._failures.get(method):
            raise self._failures[method].popleft()

    def settings(self) -> dict[Setting, SettingState]:
        """Read every setting that this camera has."""
        self._enter("settings")
        return dict(self._settings)

    def change(self, setting: Setting, value: Value | float | str) -> SettingChange:
        """Set the nearest value and read it back."""
        self._enter("change")
        state = self._settings.get(setting)
        if state is None or not state.settable:
            raise NotSupportedError(f"{setting.value} cannot be set on this camera.")
        asked = choose(state, value)
        self._settings[setting] = replace(state, value=asked)
        return SettingChange(setting, asked, asked)

    def start_live_view(self) -> None:
        """Begin to receive live pictures."""
        self._enter("start_live_view")
        if self._live is not None and self._live_since_s is None:
            self._live_since_s = self._clock.now_s()

    def stop_live_view(self) -> None:
        """End live view."""
        self._enter("stop_live_view")
        self._first_sequence = self._newest_sequence() + 1
        self._live_since_s = None

    def _newest_sequence(self) -> int:
        if self._live_since_s is None:
            return self._first_sequence - 1
        return self._first_sequence + int((self._clock.now_s() - self._live_since_s) / self._live_period_s + 1e-9)

    def latest_live(self, after_sequence: int = -1, timeout_s: float = 0.0) -> LiveJpeg | None:
        """Newest live picture with a sequence above `after_sequence`, waiting at most `timeout_s`."""
        if self._live is None or self._live_since_s is None:
            self._clock.wait_s(timeout_s)
            return None
        newest = self._newest_sequence()
        if newest <= after_sequence:
            comes_at_s = self._live_since_s + (after_sequence + 1 - self._first_sequence) * self._live_period_s
            self._clock.wait_s(min(timeout_s, max(0.0, comes_at_s - self._clock.now_s())))
            newest = self._newest_sequence()
        if newest <= after_sequence:
            return None
        return LiveJpeg(self._live(newest), self._clock.now_s(), newest)

    def fire(self) -> Fired:
        """Release the shutter."""
        self._enter("fire")
        fired_at_s = self._clock.now_s()
        self._release()
        return Fired(fired_at_s, self._clock.now_s())

    def _release(self) -> None:
        at_s = self._clock.now_s() + self._file_after_s
        before = len(self._card)
        stem = f"FAKE{self._shots % 9999 + 1:04d}"
        for fake in self._expose(self._shots):
            name = stem + fake.suffix
            self._card[name] = fake.content
            self._due.append(FileAppeared(CameraFile(FOLDER, name, len(fake.content)), at_s))
        files = len(self._card) - before
        self._due.append(CaptureFinished(at_s, files, "" if files else NO_PICTURE))
        self._shots += 1

    def events(self) -> list[CameraEvent]:
        """Everything that happened since the last call, oldest first; never waits."""
        now_s = self._clock.now_s()
        # A dial may be turned by another thread meanwhile: what it adds is neither lost nor in the way.
        told = [self._due.popleft() for _ in range(len(self._due))]
        self._due.extendleft(reversed([event for event in told if event.seen_at_s > now_s]))
        return [event for event in told if event.seen_at_s <= now_s]

    def pull(self, file: CameraFile) -> Iterator[bytes]:
        """Yield the file's bytes in pieces."""
        self._enter("pull")
        if file.name not in self._card:
            raise CameraRefusedError(f"The camera has no file {file.name}.")
        content = self._card[file.name]
        for offset in range(0, len(content), PIECE_BYTES):
            if self._lost is not None:
                raise self._lost
            if self._failures.get("piece"):
                raise self._failures["piece"].popleft()
            yield content[offset : offset + PIECE_BYTES]

    def ping(self) -> None:
        """Do a real transaction."""
        self._enter("ping")

    def reopen(self) -> None:
        """Get the camera back."""
        self._lost = None
        self._enter("reopen")

    def close(self) -> None:
        """End it."""
        self.calls.append("close")
        self._lost = CameraGoneError("The camera was closed.")
