"""The one thread that talks to the driver: commands first, then whichever duty is due."""

import contextlib
import logging
import os
import select
import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import IO, Any

from tethercap.camera import opening
from tethercap.camera.base import CameraEvent, CameraFile, CameraIdentity, CameraLost, Fired, SettingMoved
from tethercap.camera.duties import AFTER_SHOT_S, NEVER, EventDuty, LiveDuty, PullDuty, ShotUnderWay
from tethercap.camera.gphoto import driver_version, find_ports
from tethercap.camera.live_board import LiveBoard
from tethercap.camera.protocol import AbilitiesChanged, Opened, OpenWish, Piece, ProcessSetup, Reply, Request, Verb
from tethercap.camera.settings_desk import SettingsDesk
from tethercap.camera.watchdog import Watchdog
from tethercap.camera.words.widgets import Widget
from tethercap.errors import (
    CameraError,
    CameraGoneError,
    CameraSilentError,
    NotSupportedError,
    TethercapError,
)
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value

LONGEST_PAUSE_S = 1.0
PING_PERIOD_S = 5.0
"""How often an otherwise idle camera is asked for something real: a dead link answers events all the same."""
LOOK_PAUSE_S = 0.5
"""The exposure settings are looked at no more often than this, however much the body stirs."""
LOOK_PERIOD_S = 3.0
"""So often they are looked at in any case: not every body tells when a dial is turned."""


class CameraOwner:
    """Holds the camera for the program.

    Parameters
    ----------
    setup : ProcessSetup
        The pipes and the shared memory.
    log : file
        Where the stack goes of a driver call that does not return.
    forget_home : callable
        Takes the private settings folder away; the driver has read it when the first camera is open.
    """

    def __init__(self, setup: ProcessSetup, log: IO[str], forget_home: Callable[[], None]) -> None:
        self._setup = setup
        self._forget_home = forget_home
        self._board = LiveBoard(setup.shared)
        self._timer = Watchdog(self._board, log)
        self._wish = OpenWish()
        self._open: opening.OpenCamera | None = None
        self._desk: SettingsDesk | None = None
        self._trouble: CameraError | None = None
        self._outbox: deque[object] = deque()
        self._ram_files: dict[tuple[str, str], bytes] = {}
        self._pull: PullDuty | None = None
        self._live = LiveDuty(self._board, self._ring, setup.first_sequence)
        self._events = EventDuty(self._tell, self._keep_ram_file)
        self._next_ping_s = NEVER
        self._next_look_s = 0.0
        os.set_blocking(setup.bell.fileno(), False)

    # The loop

    def turn(self) -> bool:
        """Serve one command or one duty; return False when the program is gone."""
        try:
            if self._setup.commands.poll(self._pause_s()):
                self._serve(self._setup.commands.recv())
            else:
                self._do_duties()
            self._post()
        except (EOFError, BrokenPipeError, ConnectionResetError):
            return False
        return True

    def close(self) -> None:
        """End live view, close the session."""
        self._live.end()
        self._events.next_at_s = NEVER
        if self._open is not None:
            self._open.close()
            self._open = None

    def _pause_s(self) -> float:
        if self._pull is not None and self._pull.ready:
            return 0.0
        due_s = min(self._live.next_at_s, self._events.next_at_s, self._next_ping_s)
        return min(max(0.0, due_s - time.monotonic()), LONGEST_PAUSE_S)

    def _do_duties(self) -> None:
        opened = self._open
        if opened is None or self._trouble is not None:
            self._pull = None
            return
        now_s = time.monotonic()
        try:
            if self._live.next_at_s <= now_s:
                self._live.turn(opened.camera, time.monotonic)
            elif self._events.next_at_s <= now_s:
                self._listen(opened)
            elif self._pull is not None and self._pull.ready:
                self._pull_on(opened, self._pull)
            elif self._next_ping_s <= now_s:
                self._ping(opened)
        except (CameraGoneError, CameraSilentError) as error:
            self._lose(error)
        except CameraError as error:
            self._say(error)

    def _serve(self, request: Request) -> None:
        verbs: dict[Verb, Callable[..., Any]] = {
            Verb.OPEN: self.open,
            Verb.FIND: self.find,
            Verb.SETTINGS: self.settings,
            Verb.CHANGE: self.change,
            Verb.START_LIVE: self.start_live,
            Verb.STOP_LIVE: self.stop_live,
            Verb.FIRE: self.fire,
            Verb.PULL: self.pull,
            Verb.MORE: self.more,
            Verb.END_PULL: self.end_pull,
            Verb.PING: self.ping,
            Verb.RECOVER: self.recover,
            Verb.WIDGETS: self.widgets,
            Verb.CLOSE: self.close,
        }
        try:
            reply = Reply(request.number, verbs[request.verb](*request.arguments))
        except (CameraGoneError, CameraSilentError) as error:
            self._trouble = error
            reply = Reply(request.number, error=error)
        except TethercapError as error:
            reply = Reply(request.number, error=error)
        if request.number:
            self._setup.commands.send(reply)

    # What goes out

    def _tell(self, event: CameraEvent) -> None:
        self._outbox.append(event)

    def _post(self) -> None:
        # Never wait for a program that does not read: the camera needs its turns.
        writable = self._outbox and select.select([], [self._setup.events.fileno()], [], 0)[1]
        while writable:
            self._setup.events.send(self._outbox.popleft())
            writable = self._outbox and select.select([], [self._setup.events.fileno()], [], 0)[1]

    def _ring(self) -> None:
        with contextlib.suppress(BlockingIOError):
            os.write(self._setup.bell.fileno(), b"\0")

    def _lose(self, error: CameraError) -> None:
        self._trouble = error
        self._tell(CameraLost(str(error), time.monotonic()))

    def _say(self, error: CameraError) -> None:
        logging.warning("%s", error)

    # Verbs

    def _ready(self) -> opening.OpenCamera:
        if self._trouble is not None:
            raise self._trouble
        if self._open is None:
            raise CameraGoneError("The camera is not open.")
        return self._open

    def find(self) -> list[CameraIdentity]:
        """List the cameras on USB, opening none."""
        return [CameraIdentity(port, model=model) for port, model in find_ports()]

    def open(self, wish: OpenWish) -> Opened:
        """Open and prepare a camera."""
        self._wish = wish
        opened = opening.open_wished(wish, self._timer, self._setup.parent_pid)
        self._forget_home()
        return self._take_over(opened, again=wish.again)

    def _take_over(self, opened: opening.OpenCamera, *, again: bool) -> Opened:
        self._open, self._desk, self._trouble = opened, SettingsDesk(opened), None
        if not again:
            self._drain(opened)
        now_s = time.monotonic()
        self._events.shot, self._events.next_at_s, self._next_ping_s = None, now_s, now_s + PING_PERIOD_S
        return Opened(opened.identity, opened.abilities, driver_version())

    def _drain(self, opened: opening.OpenCamera) -> None:
        # What happened before we came is not ours: some bodies keep an old picture and tell it first.
        silent = EventDuty(lambda _event: None, lambda _file: None)
        for _ in range(3):
            silent.turn(opened.camera, time.monotonic, live=False)

    def settings(self) -> dict[Setting, SettingState]:
        """Read all settings."""
        self._ready()
        assert self._desk is not None  # noqa: S101  # set together with the camera
        return self._desk.read()

    def change(self, setting: Setting, wanted: Value | float | str) -> SettingChange:
        """Change one setting."""
        self._ready()
        assert self._desk is not None  # noqa: S101
        return self._desk.change(setting, wanted)

    def start_live(self) -> None:
        """Begin live view; the first picture is fetched at once, so that a refusal is told."""
        opened = self._ready()
        if not opened.abilities.live_view or self._live.wanted:
            return
        self._live.begin(time.monotonic())
        try:
            self._live.turn(opened.camera, time.monotonic)
        except CameraError:
            self._live.end()
            raise

    def stop_live(self) -> None:
        """End live view."""
        self._live.end()
        self._ready().end_live_view()

    def fire(self) -> Fired:
        """Release the shutter."""
        opened = self._ready()
        exposure_s = self._exposure_s()
        fired_at_s = time.monotonic()
        release = [(n, v) for n, v in opened.traits.release if n in opened.names]
        if release:
            for name, value in release:
                opened.camera.write_setting(name, value)
        else:
            opened.camera.trigger(15.0 + 1.5 * exposure_s)
        accepted_at_s = time.monotonic()
        self._events.expect(ShotUnderWay(fired_at_s, exposure_s, self._files_per_shot()))
        self._live.excused_until_s = accepted_at_s + exposure_s + AFTER_SHOT_S
        return Fired(fired_at_s, accepted_at_s)

    def _exposure_s(self) -> float:
        state = self._desk.known.get(Setting.SHUTTER) if self._desk else None
        if state is None:
            return 30.0
        return state.value.number if state.value.number is not None else 60.0

    def _files_per_shot(self) -> int:
        state = self._desk.known.get(Setting.IMAGE_FORMAT) if self._desk else None
        return 2 if state is not None and state.value.word is not None and "+" in state.value.word else 1

    def ping(self) -> None:
        """Do a real transaction."""
        self._ping(self._ready())

    def _ping(self, opened: opening.OpenCamera) -> None:
        self._next_ping_s = time.monotonic() + PING_PERIOD_S
        try:
            opened.camera.free_bytes()
        except NotSupportedError:
            opened.camera.setting_names()

    def recover(self) -> Opened:
        """Climb the ladder: try once more, open anew, reset the port and open anew."""
        if self._open is not None:
            with contextlib.suppress(CameraError):
                self._ping(self._open)
                self._trouble = None
                return Opened(self._open.identity, self._open.abilities, driver_version())
        serial = self._open.identity.serial if self._open is not None else self._wish.serial
        port = self._open.identity.port if self._open is not None else self._wish.port
        if self._open is not None:
            self._open.close()
            self._open = None
        wish = OpenWish(None if (port or "usb:").startswith("usb:") and serial else port, serial or None, again=True)
        self._live.end()
        return self._take_over(opening.open_wished(wish, self._timer, self._setup.parent_pid), again=True)

    def widgets(self) -> list[Widget]:
        """Read the whole configuration."""
        return self._ready().camera.read_all_settings()

    # Pulling

    def pull(self, number: int, file: CameraFile) -> CameraFile:
        """Begin to pull a file; return what the camera says about it."""
        opened = self._ready()
        if not file.size_bytes:
            file = replace(file, size_bytes=opened.camera.describe_file(file.folder, file.name).size_bytes)
        self._pull = PullDuty(number, file, self._ram_files.get((file.folder, file.name)))
        return file

    def more(self, number: int) -> None:
        """A piece was taken out of shared memory."""
        if self._pull is not None and self._pull.number == number:
            self._pull.credit += 1

    def end_pull(self, number: int) -> None:
        """The program wants no more of it."""
        if self._pull is not None and self._pull.number == number:
            self._pull = None

    def _pull_on(self, opened: opening.OpenCamera, pull: PullDuty) -> None:
        try:
            piece, in_pieces = pull.turn(opened.camera, self._board, pieces_allowed=opened.abilities.partial_read)
        except CameraError as error:
            self._pull = None
            self._outbox.append(Piece(pull.number, last=True, error=error))
            if isinstance(error, CameraGoneError | CameraSilentError):
                raise
            return
        if opened.abilities.partial_read and not in_pieces and not pull.in_memory:
            opened.abilities = replace(opened.abilities, partial_read=False)
            self._outbox.append(AbilitiesChanged(opened.abilities))
        self._outbox.append(piece)
        if piece.last:
            self._pull = None

    def _keep_ram_file(self, file: CameraFile) -> None:
        # Pictures outside the card's folders live in the body's memory, and go with the next ones.
        if file.folder != "/" or self._open is None:
            return
        with contextlib.suppress(CameraError):
            self._ram_files[file.folder, file.name] = self._open.camera.read_whole(file, 60.0)

    # Listening

    def _listen(self, opened: opening.OpenCamera) -> None:
        self._events.turn(opened.camera, time.monotonic, live=self._live.wanted)
        now_s = time.monotonic()
        if self._desk is None or now_s < self._next_look_s or self._events.shot is not None:
            return
        if self._events.settings_stirred or now_s >= self._next_look_s + LOOK_PERIOD_S:
            self._events.settings_stirred = False
            self._next_look_s = now_s + LOOK_PAUSE_S
            for setting in self._desk.read_watched():
                self._tell(SettingMoved(setting.value, time.monotonic()))
