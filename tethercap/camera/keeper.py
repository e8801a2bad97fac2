"""What the camera process can do with its camera: open it, get it back, fire it, ask it why not."""

import contextlib
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from tethercap.camera import opening
from tethercap.camera.base import NO_PICTURE, CameraEvent, CaptureFinished, FileAppeared, Fired
from tethercap.camera.card_search import find_missing
from tethercap.camera.diagnosis import explain, find_reason
from tethercap.camera.duties import AFTER_SHOT_S, DEAF_AFTER, EventDuty, LiveDuty, ShotUnderWay
from tethercap.camera.gphoto import Timer, driver_version
from tethercap.camera.learned import LONGEST_GAP_S
from tethercap.camera.protocol import CardMemory, Opened, OpenWish
from tethercap.camera.settings_desk import SettingsDesk
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraGoneError,
    CameraRefusedError,
    CameraSilentError,
    NotSupportedError,
)
from tethercap.exposure.settings import Setting

FIRST_PICTURE_S = 3.0
"""How long the first live picture may take; some bodies send a few that are none."""
FIRST_PICTURE_PAUSE_S = 0.05
UNKNOWN_EXPOSURE_S = 30.0
"""Taken for the exposure when the camera does not tell it; the longest that bodies time by themselves."""
BUSY_WAITS_S = (0.05, 0.08, 0.12)
"""Pauses between tries of a release on a busy body."""
LONGEST_DISTANCE_S = 1.0
"""A shot that comes too soon after the last waits no longer than this."""
REST_AFTER_SHOT_S = 1.5
"""So soon after a release nothing is looked at that can wait."""
TRIGGER_DEADLINE_S = 15.0
"""How long a release may take on top of the exposure, which some drivers wait for."""


@dataclass(slots=True)
class CameraKeeper:
    """Keeps one camera through all its troubles.

    Parameters
    ----------
    timer : Timer
        Guards driver calls.
    owner_pid : int
        The program, named to whoever wants the camera too.
    live : LiveDuty
    events : EventDuty
    """

    timer: Timer
    owner_pid: int
    live: LiveDuty
    events: EventDuty
    opened: opening.OpenCamera | None = None
    desk: SettingsDesk | None = None
    trouble: CameraError | None = None
    """Why the camera cannot be used until it is recovered."""
    memory: CardMemory = field(default_factory=CardMemory)
    _wish: OpenWish = field(default_factory=OpenWish)
    _accepted_at_s: float = float("-inf")
    _known_exposure_s: float = UNKNOWN_EXPOSURE_S
    """Kept when the camera is opened anew."""

    def ready(self) -> opening.OpenCamera:
        """Return the camera.

        Raises
        ------
        CameraError
            If it cannot be used.
        """
        if self.trouble is not None:
            raise self.trouble
        if self.opened is None:
            raise CameraGoneError("The camera is not open.", todo="Open it again.")
        return self.opened

    def settings(self) -> SettingsDesk:
        """Return the camera's settings.

        Raises
        ------
        CameraError
            If it cannot be used.
        """
        opened = self.ready()
        if self.desk is None:
            self.desk = SettingsDesk(opened)
        return self.desk

    # Opening and recovering

    def open(self, wish: OpenWish) -> Opened:
        """Open and prepare a camera."""
        self._wish = wish
        self.memory = wish.memory or CardMemory()
        opened = opening.open_wished(wish, self.timer, self.owner_pid)
        return self._take_over(opened, again=wish.memory is not None)

    def _take_over(self, opened: opening.OpenCamera, *, again: bool) -> Opened:
        self.opened, self.desk, self.trouble = opened, None, None
        gap_s = self._wish.gaps_s.get(opened.identity.model, 0.0)
        opened.abilities = replace(opened.abilities, shortest_gap_s=gap_s)
        self.events.forget_shot()
        self.events.next_at_s = time.monotonic()
        if again:
            self._tell_missing(opened)
        else:
            self._drain(opened)
        return self.introduce(opened)

    @staticmethod
    def introduce(opened: opening.OpenCamera) -> Opened:
        """Say who the camera is and what it can do."""
        return Opened(opened.identity, opened.abilities, driver_version())

    @staticmethod
    def _drain(opened: opening.OpenCamera) -> None:
        # What happened before we came is not ours: some bodies keep an old picture and tell it first.
        silent = EventDuty(lambda _event: None, lambda file: file)
        for _ in range(3):
            silent.turn(opened.camera, time.monotonic, live=False)

    def _tell_missing(self, opened: opening.OpenCamera) -> None:
        self.events.turn(opened.camera, time.monotonic, live=False)
        for file in find_missing(opened.camera, self.memory):
            logging.info("found on the card, never announced: %s", file.name)
            self.events.announce(file, time.monotonic())
        if self.memory.awaited_since_s is not None:
            # Perhaps the body is still writing it: listen, and look once more before giving it up.
            self.events.expect(ShotUnderWay(time.monotonic(), 0.0, 1))

    def recover(self, rung: int) -> Opened:
        """Climb the ladder.

        Parameters
        ----------
        rung : int
            0: see whether it answers after all. 1: open it anew. 2: reset a USB port, then open it anew.
        """
        opened = self.opened
        if opened is not None and rung == 0 and not isinstance(self.trouble, CameraGoneError):
            with contextlib.suppress(CameraError):
                self.ask(opened)
                self.trouble = None
                return self.introduce(opened)
        return self._reopen(reset=rung >= 2)

    def _reopen(self, *, reset: bool) -> Opened:
        opened, self.opened = self.opened, None
        self.live.end()
        if opened is not None:
            identity = opened.identity
            # A replugged body stands at another port: look for its serial number.
            wanders = identity.port.startswith("usb:") and identity.serial
            gaps_s = {**self._wish.gaps_s, identity.model: opened.abilities.shortest_gap_s}
            self._wish = OpenWish(None if wanders else identity.port, identity.serial or None, gaps_s=gaps_s)
            if reset and identity.port.startswith("usb:"):
                with contextlib.suppress(CameraError):
                    opened.camera.reset_port()
            opened.close()
        return self._take_over(opening.open_wished(self._wish, self.timer, self.owner_pid), again=True)

    def close(self) -> None:
        """End live view, close the session."""
        self.live.end()
        opened, self.opened = self.opened, None
        if opened is not None:
            opened.close()

    def ask(self, opened: opening.OpenCamera) -> int | None:
        """Do a real transaction: events and settings may be answered by the driver alone when the link is dead.

        Returns
        -------
        int or None
            Free bytes of the card with most room, where the camera tells.

        Raises
        ------
        CameraError
            `CameraGoneError` also where the driver calls a dead link a refusal.
        """
        try:
            return max((free for free in opened.camera.free_bytes() if free is not None), default=None)
        except NotSupportedError:
            opened.camera.setting_names()
        except CameraRefusedError:
            # A body without a card may refuse as well; one that refuses to tell events too is not there.
            for _ in range(DEAF_AFTER):
                self.events.turn(opened.camera, time.monotonic, live=self.live.wanted)
        return None

    # Live view

    def start_live(self) -> None:
        """Begin live view and see the first picture, so that a refusal is told."""
        opened = self.ready()
        if not opened.abilities.live_view or self.live.wanted:
            return
        opened.begin_live_view()
        self.live.begin(time.monotonic())
        until_s = time.monotonic() + FIRST_PICTURE_S
        try:
            while not self.live.turn(opened.camera, time.monotonic, FIRST_PICTURE_S):
                if self.live.last_error is not None and time.monotonic() > until_s:
                    raise self.live.last_error
                time.sleep(FIRST_PICTURE_PAUSE_S)
        except CameraError:
            self.live.end()
            raise

    def stop_live(self) -> None:
        """End live view."""
        self.live.end()
        self.ready().end_live_view()

    # The shot

    def rests(self, now_s: float) -> bool:
        """Whether no shot is under way nor just over."""
        return self.events.shot is None and now_s - self._accepted_at_s > REST_AFTER_SHOT_S

    def fire(self) -> Fired:
        """Release the shutter."""
        opened = self.ready()
        if not opened.abilities.trigger:
            raise NotSupportedError("This camera cannot be fired from here.", todo=" ".join(opened.abilities.notes))
        exposure_s = self._exposure_s()
        self._keep_distance(opened)
        self.memory.await_shot()
        try:
            fired_at_s = self._release_patiently(opened, exposure_s)
        except (CameraGoneError, CameraSilentError):
            raise
        except CameraError as error:
            # The driver calls a link that broke a refusal, too.
            self.ask(opened)
            self.memory.forget_shot()
            raise explain(error, opened) from None
        self._accepted_at_s = time.monotonic()
        self.events.expect(ShotUnderWay(fired_at_s, exposure_s, self._files_per_shot()))
        self.live.excused_until_s = self._accepted_at_s + exposure_s + AFTER_SHOT_S
        return Fired(fired_at_s, self._accepted_at_s)

    def _keep_distance(self, opened: opening.OpenCamera) -> None:
        left_s = self._accepted_at_s + opened.abilities.shortest_gap_s - time.monotonic()
        if left_s > 0:
            time.sleep(min(left_s, LONGEST_DISTANCE_S))

    def _release_patiently(self, opened: opening.OpenCamera, exposure_s: float) -> float:
        # Not for long: the film lay still when the key was pressed.
        for wait_s in BUSY_WAITS_S:
            fired_at_s = time.monotonic()
            try:
                release(opened, exposure_s)
                return fired_at_s
            except CameraBusyError:
                time.sleep(wait_s)
                self._learn_gap(opened, time.monotonic() - self._accepted_at_s)
        fired_at_s = time.monotonic()
        release(opened, exposure_s)
        return fired_at_s

    def _learn_gap(self, opened: opening.OpenCamera, gap_s: float) -> None:
        if opened.abilities.shortest_gap_s < gap_s <= LONGEST_GAP_S:
            opened.abilities = replace(opened.abilities, shortest_gap_s=round(gap_s, 3))

    def _exposure_s(self) -> float:
        state = self.desk.known.get(Setting.SHUTTER) if self.desk is not None else None
        if state is not None:
            number = state.value.number
            self._known_exposure_s = UNKNOWN_EXPOSURE_S if number is None else number
        return self._known_exposure_s

    def _files_per_shot(self) -> int:
        state = self.desk.known.get(Setting.IMAGE_FORMAT) if self.desk is not None else None
        return 2 if state is not None and state.value.word is not None and "+" in state.value.word else 1

    def give_up_shot(self, tell: Callable[[CameraEvent], None]) -> None:
        """Tell how a shot ended of which no file came, after looking for the file and for the reason."""
        opened = self.ready()
        self.events.forget_shot()
        reason = find_reason(opened)
        found: list[CameraEvent] = []
        if reason is None:
            # The driver lists a folder once; only a new session shows what came without a word.
            was_live = self.live.wanted
            self.events.tell = found.append
            try:
                self._reopen(reset=False)
            finally:
                self.events.tell = tell
            if was_live:
                self.start_live()
        self.events.forget_shot()
        files = sum(isinstance(event, FileAppeared) for event in found)
        note = str(reason) if reason is not None else NO_PICTURE
        for event in found:
            tell(event)
        self.memory.forget_shot()
        tell(CaptureFinished(time.monotonic(), files, "" if files else note))


def release(opened: opening.OpenCamera, exposure_s: float) -> None:
    """Send the release by the fastest way that the family has.

    Raises
    ------
    CameraError
    """
    steps = opened.release
    if not steps:
        opened.camera.trigger(TRIGGER_DEADLINE_S + 2 * exposure_s)
        return
    try:
        for name, press in steps:
            opened.camera.write_setting(name, press)
    except CameraError:
        # Never leave a button pressed.
        with contextlib.suppress(CameraError):
            opened.camera.write_setting(*steps[-1])
        raise
