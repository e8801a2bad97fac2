"""The runner of a roll: camera -> watch -> fire -> pull -> check -> file -> convert, in one thread.

Keys, pedals and the hands-free way call the same methods; they only put a request in a queue and return at once.
What happens comes out as `tethercap.session.events`, in the runner's thread. Live view is watched on while a picture is
pulled and checked.
"""

import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Literal

from tethercap.camera.base import Camera, CameraLost, CaptureFinished, FileAppeared, LiveViewTroubled, SuppliesSeen
from tethercap.clock import Clock
from tethercap.errors import CameraError, CameraGoneError, PictureError, TethercapError
from tethercap.exposure.settings import Setting, Value
from tethercap.image_files.jpeg import decode_live
from tethercap.roll.folder import Roll
from tethercap.session import events
from tethercap.session.book import Book
from tethercap.session.conversions import Conversions, Converter
from tethercap.session.desk import Desk
from tethercap.session.events import FiredBy, Mode, SessionEvent, Signal
from tethercap.session.housekeeping import Housekeeping
from tethercap.session.options import RunnerOptions
from tethercap.session.proofs import Proofs, Prover
from tethercap.session.shot_line import Checker, ShotLine
from tethercap.session.snapshot import Snapshot
from tethercap.session.states import RunState
from tethercap.session.strips import Lay, Strips
from tethercap.session.watching import BUSY, FilmWatcher, state_of
from tethercap.watch.sighting import Decision, Reason, ReasonCode, Sighting


class RollRunner:
    """Runs one roll on one camera.

    Parameters
    ----------
    camera : Camera
        Open; the runner does not close it.
    watcher : FilmWatcher
        Judges each live frame.
    roll : Roll
        Open; the runner does not close it.
    clock : Clock
    on_event : callable
        Called with each `SessionEvent` in the runner's thread; must return quickly and not raise.
    check : callable
        Hands a pulled file to a worker.
    convert : callable, optional
        Hands an accepted picture to a worker.
    prove : callable, optional
        Hands a picture that has just arrived to a worker, for a proof to look at; not given where nobody looks.
    options : RunnerOptions, optional
    """

    def __init__(
        self,
        *,
        camera: Camera,
        watcher: FilmWatcher,
        roll: Roll,
        clock: Clock,
        on_event: Callable[[SessionEvent], None],
        check: Checker,
        convert: Converter | None = None,
        prove: Prover | None = None,
        options: RunnerOptions | None = None,
    ) -> None:
        options = options or RunnerOptions()
        self._desk = Desk(camera, watcher, roll, clock, on_event, options, Book.from_roll(roll), options.mode)
        self._conversions = Conversions(self._desk, convert)
        self._proofs = Proofs(self._desk, prove)
        self._housekeeping = Housekeeping(self._desk)
        self._line = ShotLine(
            self._desk, check, self._conversions, self._proofs, partial(self._watch_once, 0.0), self._housekeeping
        )
        self._requests: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._live_sequence = -1
        self._away = False
        """The camera does not answer: a key that is pressed now must not fire once it is back."""
        if roll.last_view:
            # A run that ended before the film went on left a filed frame in the holder: it is not taken twice.
            watcher.recall_shot(roll.last_view)
            self._desk.taken_here = True
        self._strips = Strips(self._desk)
        self._desk.refresh()

    # --- what keys, pedals and commands may ask; from any thread

    def fire(self) -> None:
        """Take the frame in view if it may be taken; otherwise say why not."""
        self._requests.put(partial(self._on_fire, forced=False, in_vain=self._away))

    def force(self) -> None:
        """Take the frame in view whatever the verdict; the record says that it was forced."""
        self._requests.put(partial(self._on_fire, forced=True, in_vain=self._away))

    def set_mode(self, mode: Mode) -> None:
        """Choose who fires."""
        self._requests.put(partial(self._on_mode, mode))

    def skip(self, why: str = "left out") -> None:
        """Leave the current frame out and go on to the next number."""
        self._requests.put(partial(self._on_skip, why))

    def mark_blank(self) -> None:
        """Note the current frame as unexposed and go on to the next number."""
        self._requests.put(self._on_blank)

    def go_to(self, frame_id: str) -> None:
        """Go on from another frame number."""
        self._requests.put(partial(self._on_number, frame_id, visit=False))

    def retake(self, frame_id: str) -> None:
        """Take one frame again, then come back to where the roll stands."""
        self._requests.put(partial(self._on_number, frame_id, visit=True))

    def start_strip(
        self, *, numbers_run: Literal[1, -1] | None = None, mirrored: bool | None = None, first: str | None = None
    ) -> None:
        """Say how the strip in the holder lies, or, where it is empty, the next one; the strips after it lie as before.

        Parameters
        ----------
        numbers_run : 1 or -1, optional
            -1 where it was put in with its last frame first, so that numbers fall.
        mirrored : bool, optional
            Whether it lies with the other side up.
        first : str, optional
            Number of the frame that is taken next. Not given, a strip whose direction was turned begins at the other
            end of a full strip.
        """
        self._requests.put(partial(self._strips.lay, Lay(numbers_run, mirrored, first)))

    def change(self, setting: Setting, value: Value | float | str) -> None:
        """Change a setting of the camera."""
        self._requests.put(partial(self._on_change, setting, value))

    def put_back(self) -> None:
        """Set back what somebody turned on the camera."""
        self._requests.put(self._on_put_back)

    def pull_again(self) -> None:
        """Pull the last picture once more after the disk failed."""
        self._requests.put(self._line.pull_again)

    def stop(self) -> None:
        """End the run after what is under way."""
        self._stopping.set()

    def snapshot(self) -> Snapshot:
        """Where the roll stands."""
        return self._desk.snapshot

    # --- the loop

    def run(self) -> None:
        """Run until `stop`; every picture that was fired is filed or accounted for before this returns.

        Raises
        ------
        Exception
            Whatever ended the run early, after `RunEnded` was emitted.
        """
        why = "an error ended it"
        try:
            self._guarded(self._prepare_camera)
            self._desk.emit(events.ModeChanged(self._desk.mode))
            self._desk.number_moved()
            self._conversions.take_up()
            while not self._stopping.is_set() or self._line.busy:
                self._guarded(self._turn)
                self._proofs.collect()
                self._conversions.collect()
            self._conversions.finish()
            why = "stopped"
        finally:
            with suppress(TethercapError):
                self._desk.camera.stop_live_view()
            self._desk.emit(events.RunEnded(self._desk.book.filed_now, why))

    def _guarded(self, work: Callable[[], None]) -> None:
        try:
            work()
        except CameraError as error:
            self._recover(error)

    def _turn(self) -> None:
        self._answer_requests()
        self._watch_once(self._desk.options.live_wait_s)
        self._take_events()
        self._line.advance()

    def _prepare_camera(self) -> None:
        desk = self._desk
        desk.read_settings()
        if desk.camera.abilities.live_view:
            if desk.mode is not Mode.PAUSED:
                desk.camera.start_live_view()
            return
        notes = " ".join(desk.camera.abilities.notes)
        desk.emit(events.CannotWatch(notes or "This camera sends no live view, so the film cannot be watched."))

    def _answer_requests(self) -> None:
        while True:
            try:
                request = self._requests.get_nowait()
            except queue.Empty:
                return
            try:
                request()
            except CameraError:
                raise
            except TethercapError as error:
                self._desk.say(str(error))

    def _take_events(self) -> None:
        for event in self._desk.camera.events():
            match event:
                case FileAppeared(file, seen_at_s):
                    self._line.file_appeared(file, seen_at_s)
                case CaptureFinished(note=note):
                    self._line.capture_finished(note)
                case LiveViewTroubled(why, _):
                    self._desk.say(why)
                case CameraLost(why, _):
                    raise CameraGoneError(why)
                case SuppliesSeen(states, card_free_bytes):
                    self._housekeeping.supplies(states, card_free_bytes)
                case _:
                    self._desk.read_settings()

    def _recover(self, error: CameraError) -> None:
        desk = self._desk
        desk.emit(events.CameraTroubled(error, recovering=True))
        started_s, self._away = desk.clock.now_s(), True
        while not self._stopping.is_set():
            try:
                desk.camera.reopen()
                self._live_sequence = -1
                self._prepare_camera()
            except CameraError as again:
                desk.emit(events.CameraTroubled(again, recovering=True))
                desk.clock.wait_s(desk.options.retry_wait_s)
                continue
            # What was seen before says nothing of how the film lies now.
            desk.sighting, self._away = None, False
            desk.emit(events.CameraCameBack(desk.clock.now_s() - started_s))
            break
        self._line.resume(ending=self._stopping.is_set())

    # --- watching

    def _watch_once(self, timeout_s: float) -> None:
        desk = self._desk
        if desk.mode is Mode.PAUSED or not desk.camera.abilities.live_view:
            desk.clock.wait_s(timeout_s)
            return
        live = desk.camera.latest_live(self._live_sequence, timeout_s)
        if live is None:
            return
        self._live_sequence = live.sequence
        try:
            frame = decode_live(live)
        except PictureError:
            return  # a torn or empty live picture; the next one is on its way
        desk.sighting = sighting = desk.watcher.watch(frame)
        if sighting.alignment is not None:
            desk.view_width_mm = sighting.alignment.mm_per_px * frame.size.width_px
        desk.view_size = frame.size
        self._note_gone_on(sighting)
        desk.emit(events.Watched(frame, sighting))
        if desk.state not in BUSY:
            self._follow(sighting)

    def _note_gone_on(self, sighting: Sighting) -> None:
        desk = self._desk
        if not sighting.gone_on:
            return
        desk.taken_here = desk.number_said = False
        if desk.book.failed_in_a_row and not self._line.busy:
            desk.leave_open()

    def _follow(self, sighting: Sighting) -> None:
        desk, before = self._desk, self._desk.state
        after = state_of(sighting, moving_above_mm_s=desk.options.moving_above_mm_s, taken_here=desk.taken_here)
        desk.go(after)
        self._strips.note(sighting)
        if after is RunState.HELD and desk.options.skip_blank and self._blank_for_good(sighting):
            self._on_blank()
        if after is RunState.SEATED:
            if before is not RunState.SEATED:
                desk.emit(events.Signalled(Signal.SEATED))
            if desk.mode is Mode.HANDS_FREE and sighting.ready and not self._stopping.is_set():
                self._release(FiredBy.HANDS_FREE)

    def _blank_for_good(self, sighting: Sighting) -> bool:
        motion = sighting.motion
        return sighting.blank and motion is not None and motion.still_for_s >= self._desk.options.blank_after_s

    # --- firing and the other requests

    def _release(self, fired_by: FiredBy) -> None:
        if not self._strips.is_in and fired_by is not FiredBy.FORCED_KEY and self._desk.camera.abilities.live_view:
            self._strips.begin()
        self._line.release(fired_by)

    def _on_fire(self, *, forced: bool, in_vain: bool) -> None:
        away = Reason(ReasonCode.NO_PICTURE, "the camera was away when the key was pressed; press it again")
        reasons = (away,) if in_vain else self._reasons_against(forced=forced)
        if reasons:
            self._desk.emit(events.FireRefused(self._desk.book.frame_id, reasons))
            self._desk.emit(events.Signalled(Signal.HELD))
            return
        self._release(FiredBy.FORCED_KEY if forced else FiredBy.KEY)

    def _reasons_against(self, *, forced: bool) -> tuple[Reason, ...]:
        desk = self._desk
        if self._line.busy:
            return (Reason(ReasonCode.NO_PICTURE, f"the camera is busy with frame {desk.book.frame_id}"),)
        if forced or not desk.camera.abilities.live_view:
            return ()
        sighting = desk.sighting
        if desk.mode is Mode.PAUSED or sighting is None:
            why = "watching is paused" if desk.mode is Mode.PAUSED else "no live picture has come yet"
            return (Reason(ReasonCode.NO_PICTURE, why),)
        if sighting.film_present is False:
            return sighting.verdict.reasons
        if sighting.motion is None or not sighting.motion.still:
            return (Reason(ReasonCode.MOVING, "the film is not still yet"),)
        if sighting.verdict.decision is not Decision.ACCEPT:
            return sighting.verdict.reasons
        if desk.taken_here and not desk.number_said:
            return (Reason(ReasonCode.BETWEEN_FRAMES, "this frame is filed: move the film on, or force another take"),)
        return ()

    def _on_mode(self, mode: Mode) -> None:
        desk = self._desk
        before, desk.mode = desk.mode, mode
        if desk.camera.abilities.live_view and before is not mode and Mode.PAUSED in (before, mode):
            (desk.camera.stop_live_view if mode is Mode.PAUSED else desk.camera.start_live_view)()
        desk.emit(events.ModeChanged(mode))
        desk.refresh()

    def _on_skip(self, why: str) -> None:
        desk = self._desk
        desk.watcher.shot_taken(desk.clock.now_s())
        with desk.bearing_storage():
            desk.roll.skip(desk.book.frame_id, why, view=desk.watcher.view_of_shot())
        self._pass_over(why, blank=False)

    def _on_blank(self) -> None:
        desk = self._desk
        desk.watcher.shot_taken(desk.clock.now_s())
        with desk.bearing_storage():
            desk.roll.mark_blank(desk.book.frame_id, view=desk.watcher.view_of_shot())
        self._pass_over("blank", blank=True)

    def _pass_over(self, why: str, *, blank: bool) -> None:
        desk = self._desk
        desk.taken_here = True
        desk.emit(events.FrameSkipped(desk.book.passed_over(blank=blank), why))
        desk.number_moved()

    def _on_number(self, frame_id: str, *, visit: bool) -> None:
        desk = self._desk
        if visit:
            desk.book.numbering.visit(frame_id)
        else:
            desk.roll.go_to(desk.book.numbering.go_to(frame_id))
            desk.number_said = True
        desk.book.failed_in_a_row = 0
        if visit:
            desk.watcher.reopen_frame()
            desk.taken_here = False
        desk.number_moved()

    def _on_change(self, setting: Setting, value: Value | float | str) -> None:
        change = self._desk.camera.change(setting, value)
        self._desk.want(setting, change.got)
        self._desk.emit(events.SettingChanged(change))
        self._desk.read_settings()

    def _on_put_back(self) -> None:
        for setting, change in self._desk.drifted.items():
            self._desk.emit(events.SettingChanged(self._desk.camera.change(setting, change.asked)))
        self._desk.read_settings()
