"""The one thread that talks to the driver: commands first, then whichever duty is due."""

import contextlib
import logging
import os
import select
import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from enum import Enum
from typing import IO, Any

from tethercap.camera.base import (
    CameraEvent,
    CameraFile,
    CameraIdentity,
    CameraLost,
    CaptureFinished,
    FileAppeared,
    Fired,
    LiveViewTroubled,
    SettingMoved,
    SuppliesSeen,
)
from tethercap.camera.duties import NEVER, EventDuty, LiveDuty
from tethercap.camera.gphoto import find_ports
from tethercap.camera.keeper import CameraKeeper
from tethercap.camera.live_board import LiveBoard
from tethercap.camera.opening import OpenCamera
from tethercap.camera.protocol import AbilitiesChanged, Piece, ProcessSetup, Reply, Request, Verb
from tethercap.camera.pull_duty import PullDuty
from tethercap.camera.watchdog import Watchdog
from tethercap.camera.words.widgets import Widget
from tethercap.errors import CameraError, CameraGoneError, CameraSilentError, TethercapError
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value

LONGEST_PAUSE_S = 1.0
PING_PERIOD_S = 5.0
"""How often the camera is asked for something real: a dead link answers events all the same."""
SUPPLIES_PERIOD_S = 60.0
"""How often battery and card are looked at."""
COMPLAINT_PERIOD_S = 10.0
"""How often live view that fails is spoken of."""
LOOK_IN_LOG = "This is a mistake in the program; `tethercap doctor` says where its log is."
LOOK_PAUSE_S = 0.5
"""The exposure settings are looked at no more often than this, however much the body stirs."""
LOOK_PERIOD_S = 3.0
"""So often they are looked at in any case: not every body tells when a dial is turned."""


class Duty(Enum):
    """What the process does by itself."""

    LIVE = "fetch a live picture"
    LISTEN = "hear from the camera"
    PULL = "read a piece of a file"
    ASK = "see whether it answers"


class CameraOwner:
    """Serves the program, and does the camera's duties in between.

    Parameters
    ----------
    setup : ProcessSetup
        The pipes and the shared memory.
    log : file
        Where the stack goes of a driver call that does not return.
    """

    def __init__(self, setup: ProcessSetup, log: IO[str]) -> None:
        self._setup = setup
        self._board = LiveBoard(setup.shared)
        self._outbox: deque[object] = deque()
        self._in_memory: dict[tuple[str, str], bytes] = {}
        self._told: set[CameraFile] = set()
        self._pull: PullDuty | None = None
        self._live = LiveDuty(self._board, self._ring, setup.first_sequence)
        self._events = EventDuty(self._tell, self._secure)
        self._keeper = CameraKeeper(Watchdog(self._board, log), setup.parent_pid, self._live, self._events)
        self._next_ping_s = self._next_look_s = self._next_supplies_s = 0.0
        self._complained_at_s = -COMPLAINT_PERIOD_S
        self._verbs: dict[Verb, Callable[..., Any]] = {
            Verb.OPEN: self._keeper.open,
            Verb.FIND: self._find,
            Verb.SETTINGS: self._settings,
            Verb.CHANGE: self._change,
            Verb.START_LIVE: self._keeper.start_live,
            Verb.STOP_LIVE: self._keeper.stop_live,
            Verb.FIRE: self._fire,
            Verb.PULL: self._begin_pull,
            Verb.MORE: self._more,
            Verb.END_PULL: self._end_pull,
            Verb.PING: self._ping,
            Verb.RECOVER: self._keeper.recover,
            Verb.WIDGETS: self._widgets,
            Verb.CLOSE: self.close,
        }
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
        self._events.next_at_s = NEVER
        self._keeper.close()

    @property
    def _camera_at_work(self) -> OpenCamera | None:
        return self._keeper.opened if self._keeper.trouble is None else None

    def _pause_s(self) -> float:
        if self._camera_at_work is None:
            return LONGEST_PAUSE_S
        return min(max(0.0, min(self._due().values()) - time.monotonic()), LONGEST_PAUSE_S)

    def _due(self) -> dict[Duty, float]:
        pull = self._pull
        return {
            Duty.LIVE: self._live.next_at_s,
            Duty.LISTEN: self._events.next_at_s,
            Duty.PULL: pull.next_at_s if pull is not None and pull.credit else NEVER,
            Duty.ASK: self._next_ping_s,
        }

    def _do_duties(self) -> None:
        opened = self._camera_at_work
        if opened is None:
            return
        # The one that has waited longest: a slow one must not starve the others.
        due = self._due()
        duty = min(due, key=lambda each: due[each])
        now_s = time.monotonic()
        if due[duty] > now_s:
            return
        try:
            self._do(duty, opened, now_s)
        except (CameraGoneError, CameraSilentError) as error:
            self._lose(error)
            self._tell(CameraLost(str(error), time.monotonic()))
        except CameraError as error:
            self._complain(error, now_s)

    def _do(self, duty: Duty, opened: OpenCamera, now_s: float) -> None:
        if duty is Duty.LIVE:
            self._live.sparing = self._pull is not None
            self._live.turn(opened.camera, time.monotonic)
        elif duty is Duty.LISTEN:
            self._listen(opened)
        elif duty is Duty.ASK:
            self._next_ping_s = now_s + PING_PERIOD_S
            self._ask(opened, now_s)
        elif self._pull is not None:
            self._pull_on(opened, self._pull)

    def _ask(self, opened: OpenCamera, now_s: float) -> None:
        """See whether the camera answers, and now and then, while it has nothing to do, what it has left."""
        free_bytes, desk = self._keeper.ask(opened), self._keeper.desk
        if desk is None or now_s < self._next_supplies_s or self._pull is not None or not self._keeper.rests(now_s):
            return
        self._next_supplies_s = now_s + SUPPLIES_PERIOD_S
        self._tell(SuppliesSeen(desk.read_supplies(), free_bytes, time.monotonic()))

    def _serve(self, request: Request) -> None:
        try:
            reply = Reply(request.number, self._verbs[request.verb](*request.arguments))
        except (CameraGoneError, CameraSilentError) as error:
            self._lose(error)
            reply = Reply(request.number, error=error)
        except TethercapError as error:
            reply = Reply(request.number, error=error)
        except Exception as error:
            # A mistake of ours must not end the session with the camera; the log has the whole of it.
            logging.exception("%s failed", request.verb)
            reply = Reply(request.number, error=CameraError(f"Could not {request.verb}: {error!r}.", todo=LOOK_IN_LOG))
        if request.number:
            self._setup.commands.send(reply)

    def _lose(self, error: CameraError) -> None:
        logging.warning("%s", error)
        self._keeper.trouble = error
        self._break_pull(error)

    def _complain(self, error: CameraError, now_s: float) -> None:
        logging.warning("%s", error)
        if self._live.wanted and now_s - self._complained_at_s > COMPLAINT_PERIOD_S:
            self._complained_at_s = now_s
            self._tell(LiveViewTroubled(str(error), now_s))

    # What goes out

    def _tell(self, event: CameraEvent) -> None:
        if isinstance(event, FileAppeared):
            if event.file.taken_at_s is not None and event.file in self._told:
                return  # found on the card after the link was lost, and announced late after all
            self._told.add(event.file)
            self._keeper.memory.note(event.file)
        elif isinstance(event, CaptureFinished):
            self._keeper.memory.forget_shot()
        self._outbox.append(event)

    def _post(self) -> None:
        # Never wait for a program that does not read: the camera needs its turns.
        while self._outbox and select.select([], [self._setup.events.fileno()], [], 0)[1]:
            self._setup.events.send(self._outbox.popleft())

    def _ring(self) -> None:
        with contextlib.suppress(BlockingIOError):
            os.write(self._setup.bell.fileno(), b"\0")

    # Verbs that are no one else's

    def _find(self) -> list[CameraIdentity]:
        return [CameraIdentity(port, model=model) for port, model in find_ports()]

    def _settings(self) -> dict[Setting, SettingState]:
        self._next_ping_s = min(self._next_ping_s, time.monotonic())
        return self._keeper.settings().read()

    def _change(self, setting: Setting, wanted: Value | float | str) -> SettingChange:
        return self._keeper.settings().change(setting, wanted)

    def _fire(self) -> Fired:
        opened = self._keeper.ready()
        before = opened.abilities
        try:
            return self._keeper.fire()
        finally:
            if opened.abilities is not before:
                self._outbox.append(AbilitiesChanged(opened.abilities))

    def _ping(self) -> None:
        self._keeper.ask(self._keeper.ready())

    def _widgets(self) -> list[Widget]:
        return self._keeper.ready().camera.read_all_settings()

    # Pulling

    def _begin_pull(self, number: int, file: CameraFile) -> CameraFile:
        opened = self._keeper.ready()
        self._break_pull(CameraError("Another file is pulled now."))
        content = self._in_memory.get((file.folder, file.name))
        if not file.size_bytes and file.folder != "/":
            file = replace(file, size_bytes=opened.camera.describe_file(file.folder, file.name).size_bytes)
        self._pull = PullDuty(number, file, content)
        return file

    def _more(self, number: int) -> None:
        if self._pull is not None and self._pull.number == number:
            self._pull.credit += 1

    def _end_pull(self, number: int) -> None:
        if self._pull is not None and self._pull.number == number:
            self._pull = None

    def _break_pull(self, error: CameraError) -> None:
        if self._pull is not None:
            self._outbox.append(Piece(self._pull.number, last=True, error=error))
            self._pull = None

    def _pull_on(self, opened: OpenCamera, pull: PullDuty) -> None:
        try:
            allowed = opened.abilities.partial_read
            piece = pull.turn(opened.camera, self._board, time.monotonic, pieces_allowed=allowed)
        except (CameraGoneError, CameraSilentError):
            raise
        except CameraError as error:
            self._break_pull(error)
            return
        if pull.came_whole and opened.abilities.partial_read:
            opened.abilities = replace(opened.abilities, partial_read=False)
            self._outbox.append(AbilitiesChanged(opened.abilities))
        if piece is None:
            return
        self._outbox.append(piece)
        if piece.last:
            self._pull = None
            # The driver keeps its own copy of the last few.
            self._in_memory.pop(pull.key, None)

    def _secure(self, file: CameraFile) -> CameraFile:
        # Pictures outside the card's folders live in the body's memory, and go with the next ones.
        opened = self._keeper.opened
        if file.folder != "/" or opened is None:
            return file
        try:
            content = opened.camera.read_whole(file, 60.0)
        except (CameraGoneError, CameraSilentError):
            raise
        except CameraError as error:
            logging.warning("%s", error)
            return file
        self._in_memory[file.folder, file.name] = content
        return replace(file, size_bytes=len(content))

    # Listening

    def _listen(self, opened: OpenCamera) -> None:
        self._events.turn(opened.camera, time.monotonic, live=self._live.wanted)
        if self._events.in_vain:
            self._keeper.give_up_shot(self._tell)
            return
        now_s, desk = time.monotonic(), self._keeper.desk
        if desk is None or now_s < self._next_look_s or self._events.shot is not None:
            return
        if self._events.settings_stirred or now_s >= self._next_look_s + LOOK_PERIOD_S:
            self._events.settings_stirred = False
            self._next_look_s = now_s + LOOK_PAUSE_S
            for setting in desk.read_watched():
                self._tell(SettingMoved(setting.value, time.monotonic()))
