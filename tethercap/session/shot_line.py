"""The way of one shot: shutter command, files announced, pulled, checked, filed."""

from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Future
from dataclasses import replace
from functools import partial
from pathlib import Path

from tethercap.camera.base import CameraFile
from tethercap.check import registry
from tethercap.check.findings import Finding, RawFindings, Severity
from tethercap.check.raw import CheckRequest
from tethercap.errors import (
    CameraGoneError,
    CameraRefusedError,
    CameraSilentError,
    DriverDiedError,
    PictureError,
    RollError,
)
from tethercap.geometry import SizePx
from tethercap.image_files.jpeg import JPEG_SUFFIXES
from tethercap.roll.folder import FiledTake, Incoming, TakeOutcome
from tethercap.session import events
from tethercap.session.check_job import CheckedFile
from tethercap.session.conversions import Conversions
from tethercap.session.desk import Desk
from tethercap.session.events import FiredBy, Signal
from tethercap.session.given_up import GivenUp
from tethercap.session.housekeeping import Housekeeping
from tethercap.session.proofs import ArrivedShot, Proofs
from tethercap.session.shot import Shot, WaitingFile, suffix_of
from tethercap.session.states import RunState

_MOST_CHECKS = 2
"""A checking process that is ended from outside is no fault of the picture; one that ends again is."""
_MOST_REFUSALS = 3
"""A driver calls a link that broke a refusal, too; one that was deleted, or lay on another card, stays refused."""
_ALIKE, _UNLIKE = 0.85, 0.4
"""Likeness of a picture and the live view at its release: surely the same frame, surely another one."""
_MAYBE_RELEASED = CameraGoneError, CameraSilentError, DriverDiedError
"""Errors of a release after which nobody knows whether the shutter went."""
Checker = Callable[[Path, str, CheckRequest], "Future[CheckedFile]"]


class ShotLine:
    """At most one shot at a time, from the shutter to the roll.

    Parameters
    ----------
    desk : Desk
    check : callable
        Hands a pulled file to a worker.
    conversions : Conversions
        Gets what was accepted.
    proofs : Proofs
        Gets each picture as soon as it is here.
    watch_once : callable
        Watches one live frame; called between the pieces of a file, so that the film is watched while it is pulled.
    housekeeping : Housekeeping
        Looks at the disks after each shot.
    """

    def __init__(
        self,
        desk: Desk,
        check: Checker,
        conversions: Conversions,
        proofs: Proofs,
        watch_once: Callable[[], None],
        housekeeping: Housekeeping,
    ) -> None:
        self._desk, self._check, self._conversions, self._watch_once = desk, check, conversions, watch_once
        self._proofs = proofs
        self._shot: Shot | None = None
        self._picture_size: SizePx | None = None
        self._newest_taken_at = _newest_taken_at(desk)
        """Time of exposure of the last picture, as its RAW tells it; ISO 8601 of one clock sorts as text."""
        self._older_taken_at = ""
        """The same of one that was older than those before it; empty where the last one was not."""
        self._housekeeping = housekeeping
        self._given_up = GivenUp()
        self._views_agree = False
        """This camera's live view was seen to show what its pictures show: the same part, the same way up."""

    @property
    def busy(self) -> bool:
        """A shot is under way."""
        return self._shot is not None

    # --- the shutter and what the camera says

    def release(self, fired_by: FiredBy) -> None:
        """Fire.

        Raises
        ------
        CameraError
        """
        at_s = self._desk.clock.now_s()
        try:
            at_s = self._desk.camera.fire().fired_at_s
        except _MAYBE_RELEASED:
            self._start(fired_by, at_s)
            raise
        self._start(fired_by, at_s)

    def _start(self, fired_by: FiredBy, at_s: float, frame_id: str | None = None) -> Shot:
        desk = self._desk
        desk.watcher.shot_taken(at_s)
        frame_id = frame_id or desk.frame_in_view
        view = desk.watcher.view_of_shot() if desk.sighting is not None else b""
        self._shot = Shot(frame_id, desk.roll.next_take(frame_id), fired_by, at_s, desk.sighting, view)
        if fired_by is not FiredBy.BODY:
            self._given_up.released(self._shot)
        desk.emit(events.ShotFired(frame_id, self._shot.take, fired_by, at_s))
        desk.go(RunState.EXPOSING)
        return self._shot

    def _take_up(self, late: Shot) -> Shot:
        """Go on with a shot that was given up: its picture came after all."""
        desk = self._desk
        if late.frame_id == desk.book.frame_id:
            desk.watcher.shot_taken(desk.clock.now_s())
        late.take, late.finished, self._shot = desk.roll.next_take(late.frame_id), False, late
        desk.go(RunState.EXPOSING)
        return late

    def file_appeared(self, file: CameraFile, seen_at_s: float) -> None:
        """Take note of a file: of our shot, of one that was given up, or of the camera's own button."""
        desk, shot = self._desk, self._shot
        under_way = shot if desk.state is RunState.EXPOSING else None
        owner = self._given_up.owner(file, under_way)
        given_up = owner if owner is not under_way else None
        if shot is None:
            shot = self._take_up(given_up) if given_up is not None else self._start(FiredBy.BODY, seen_at_s)
        elif given_up is not None or under_way is None:
            desk.book.waiting_files.append(WaitingFile(file, seen_at_s, self._frame_beside(shot), given_up))
            return
        elif shot.fired_by is not FiredBy.BODY:
            self._given_up.learn(file, shot)
        _add(shot, file, seen_at_s)

    def _frame_beside(self, shot: Shot) -> str | None:
        """Give the frame that lies in the holder while a shot is on its way, if it has a number."""
        sighting = self._desk.sighting
        gone_on = sighting is not None and sighting is not shot.sighting and sighting.gone_on
        return None if gone_on else shot.frame_id

    def _next_waiting(self, waiting: WaitingFile) -> None:
        if waiting.given_up is not None:
            shot = self._take_up(waiting.given_up)
        else:
            shot = self._start(FiredBy.BODY, waiting.seen_at_s, waiting.frame_id)
        _add(shot, waiting.file, self._desk.clock.now_s())

    def capture_finished(self, note: str = "") -> None:
        """Take note that nothing more comes; `note` says why if nothing came at all."""
        if self._shot is None:
            return
        self._shot.finished = True
        if note and not self._shot.files and self._desk.state is RunState.EXPOSING:
            self._give_up(note)

    def advance(self) -> None:
        """Go on with the shot as far as it can go without waiting, but for the pull itself.

        Raises
        ------
        CameraError
        """
        shot, desk = self._shot, self._desk
        now_s = desk.clock.now_s()
        if shot is None:
            if desk.book.waiting_files:
                self._next_waiting(desk.book.waiting_files.pop(0))
        elif desk.state is RunState.EXPOSING:
            deadline_s = desk.options.file_deadline_s + (desk.shutter_s or 0)
            if shot.all_files_in(now_s, desk.options.expected_files):
                self._pull(shot)
            elif not shot.files and now_s - (shot.asked_again_at_s or shot.fired_at_s) > deadline_s:
                self._give_up("The camera delivered no picture. It may be on its card; take the frame again.")
        elif shot.checking is not None and shot.checking.done():
            self._end_check(shot, shot.checking)

    # --- pulling

    def _pull(self, shot: Shot) -> None:
        desk = self._desk
        desk.go(RunState.PULLING)
        started_s = desk.clock.now_s()
        try:
            for file in shot.raw_first()[shot.files_safe :]:
                incoming = desk.roll.receive(
                    shot.frame_id,
                    suffix_of(file),
                    self._pieces(file, shot.frame_id),
                    expected_bytes=file.size_bytes or None,
                    on_here=partial(self._prove, shot, file),
                )
                if shot.picture is None:
                    shot.picture = incoming
                else:
                    shot.companions.append(incoming)
        except CameraRefusedError as error:
            shot.refusals += 1
            if shot.refusals < _MOST_REFUSALS:
                raise
            self._not_handed_over(shot, error)
            return
        except (RollError, PictureError) as error:
            self._storage_failed(shot, error)
            return
        shot.pulled_in_s = desk.clock.now_s() - started_s
        self._start_check(shot)

    def _not_handed_over(self, shot: Shot, error: CameraRefusedError) -> None:
        """Go on without a picture that the camera does not have any more."""
        if shot.picture is None:
            self._give_up(f"{error} Take frame {shot.frame_id} again.")
        else:
            self._desk.say(str(error))
            self._start_check(shot)

    def _pieces(self, file: CameraFile, frame_id: str) -> Iterator[bytes]:
        done_bytes = 0
        for piece in self._desk.camera.pull(file):
            yield piece
            done_bytes += len(piece)
            self._desk.emit(events.PullProgressed(frame_id, done_bytes, file.size_bytes))
            self._watch_once()

    def _prove(self, shot: Shot, file: CameraFile, names: tuple[Path, ...]) -> None:
        if suffix_of(file) not in JPEG_SUFFIXES:
            edges = shot.sighting.edges if shot.sighting is not None else None
            corners = edges.corners if edges is not None else None
            self._proofs.start(ArrivedShot(shot.frame_id, shot.take, names, corners, self._desk.view_size))

    def _storage_failed(self, shot: Shot, error: RollError | PictureError) -> None:
        desk = self._desk
        desk.book.unpulled, self._shot = shot, None
        desk.emit(events.StorageTroubled(shot.frame_id, error))
        desk.hold(str(error))

    def pull_again(self) -> None:
        """Take up a shot whose picture could not be stored."""
        desk = self._desk
        if self._shot is None and desk.book.unpulled is not None:
            self._shot, desk.book.unpulled = desk.book.unpulled, None
            self._shot.finished = True
            desk.go(RunState.EXPOSING)

    def resume(self, *, ending: bool) -> None:
        """Go on after the camera was lost and came back (or did not, when the run is `ending`)."""
        shot = self._shot
        if shot is None or shot.checking is not None:
            return
        if ending:
            self._give_up(
                "The camera was lost before its picture was here. It may be on the card; take the frame again."
            )
            return
        # Files that are known are still on the card and are pulled again. Otherwise the shutter may have been released:
        # the camera looks for the picture, and tells of it or that there is none.
        shot.finished, shot.asked_again_at_s = bool(shot.files), self._desk.clock.now_s()
        self._desk.state = RunState.EXPOSING

    def _give_up(self, sentence: str) -> None:
        shot, self._shot = self._shot, None
        sentences = [sentence]
        if shot is not None:
            if not shot.files:
                self._given_up.add(shot)
            self._desk.book.failed(shot.frame_id)
            sentences += self._reopen(shot)
        self._desk.hold(*sentences)

    def _reopen(self, shot: Shot) -> list[str]:
        """Let the frame be taken again, by itself as often as was chosen; else say what is to be done."""
        desk = self._desk
        if shot.fired_by is FiredBy.HANDS_FREE and desk.book.failed_in_a_row >= desk.options.takes_by_itself:
            return ["It is not taken again by itself: seat the film anew and press fire, or force it."]
        if shot.frame_id == desk.book.frame_id:
            desk.watcher.reopen_frame()
        return []

    # --- checking and filing

    def _start_check(self, shot: Shot) -> None:
        desk, picture = self._desk, shot.picture
        desk.go(RunState.CHECKING)
        if picture is None:
            self._give_up("The camera announced a picture and delivered none; take the frame again.")
            return
        request = CheckRequest(
            film_format=desk.watcher.film_format,
            film_kind=desk.watcher.film_kind,
            offset_when_fired=shot.sighting.alignment.offset if shot.sighting and shot.sighting.alignment else None,
            view_when_fired=shot.view,
            mm_per_view_width=desk.view_width_mm,
            expected_size=self._picture_size,
            forced=shot.forced,
            watched=shot.sighting is not None,
            limits=desk.watcher.limits,
        )
        shot.checks += 1
        shot.checking = self._check(picture.path, picture.suffix, request)

    def _end_check(self, shot: Shot, checking: "Future[CheckedFile]") -> None:
        if isinstance(checking.exception(), BrokenExecutor) and shot.checks < _MOST_CHECKS:
            self._start_check(shot)
            return
        self._judge(shot, _result_of(checking))

    def _judge(self, shot: Shot, checked: CheckedFile) -> None:
        desk = self._desk
        if shot.picture is None:
            return
        findings = self._with_identity(shot, shot.picture, checked)
        desk.emit(events.ShotChecked(shot.frame_id, shot.take, findings))
        accepted = findings.passed
        outcome = TakeOutcome(
            accepted=accepted,
            forced=shot.forced,
            fired_by=shot.fired_by.value,
            findings=findings,
            sighting=shot.sighting,
            shot=checked.shot,
            settings={setting.value: state.value.text for setting, state in desk.settings.items()},
            camera=desk.camera.identity,
            camera_file=shot.raw_first()[0].name if shot.files else "",
            taken_at=checked.shot.taken_at or "",
            view=shot.view,
        )
        try:
            filed = desk.roll.file(shot.picture, outcome)
        except RollError as error:
            self._storage_failed(shot, error)
            return
        self._file_companions(shot, filed)
        self._shot = None
        self._picture_size = self._picture_size or (checked.size if accepted else None)
        self._tell_filed(shot, filed, findings)
        self._housekeeping.look(shot.picture.size_bytes, self._picture_size)

    def _file_companions(self, shot: Shot, filed: FiledTake) -> None:
        for companion in shot.companions:
            try:
                self._desk.roll.file_companion(companion, filed)
            except RollError as error:
                # The frame is filed all the same; its JPEG waits where it was received to.
                self._desk.say(str(error))

    def _with_identity(self, shot: Shot, picture: Incoming, checked: CheckedFile) -> RawFindings:
        """Add whether this is a new picture at all: not one that is here already, nor a left-over from before."""
        found = list(checked.findings.findings)
        if self._desk.roll.has_picture(picture.sha256):
            found.append(Finding(registry.SAME_PICTURE))
        taken_at = checked.shot.taken_at or ""
        is_older = bool(taken_at) and taken_at < self._newest_taken_at and not shot.forced
        # Left over is one picture; where the next one is older too, and later than that one, the clock was set back.
        if is_older and not "" < self._older_taken_at < taken_at:
            found.append(Finding(registry.OLDER_PICTURE, detail=f"{taken_at}, the last one {self._newest_taken_at}"))
            self._older_taken_at = taken_at
        else:
            self._newest_taken_at, self._older_taken_at = taken_at or self._newest_taken_at, ""
        alike = checked.findings.likeness
        if alike is not None and alike < _UNLIKE and self._views_agree and not shot.forced:
            found.append(Finding(registry.ANOTHER_MOMENT, round(alike, 2), "likeness"))
        self._views_agree |= alike is not None and alike > _ALIKE
        return replace(checked.findings, findings=tuple(found))

    def _tell_filed(self, shot: Shot, filed: FiledTake, findings: RawFindings) -> None:
        desk = self._desk
        size_bytes = shot.picture.size_bytes if shot.picture else 0
        fact = events.FrameFiled(
            filed.frame_id,
            filed.take,
            filed.path,
            filed.sha256,
            size_bytes,
            filed.accepted,
            shot.forced,
            shot.pulled_in_s,
        )
        desk.book.last_filed = fact
        if filed.accepted:
            desk.number_said = False
            # The hand may be faster than pull and check: another frame may lie there by now.
            desk.taken_here = not (desk.sighting and desk.sighting is not shot.sighting and desk.sighting.gone_on)
            desk.book.filed(filed.frame_id, forced=shot.forced, at_s=desk.clock.now_s())
            desk.go(RunState.FILED)
            desk.emit(fact)
            desk.emit(events.Signalled(Signal.FILED))
            desk.number_moved()
            self._conversions.start(filed)
            return
        desk.book.failed(filed.frame_id)
        desk.emit(fact)
        sentences = [f"{found.kind.sentence} {found.kind.help}" for found in findings.findings if _weighs(found)]
        desk.hold(*sentences, *self._reopen(shot))


def _newest_taken_at(desk: Desk) -> str:
    """When this camera took the newest picture on the roll, by its own clock; a run before may have left older ones."""
    takes = (take.filed for frame in desk.roll.frames.values() for take in frame.takes)
    serial = desk.camera.identity.serial
    return max((filed.taken_at for filed in takes if filed.camera and filed.camera.serial == serial), default="")


def _add(shot: Shot, file: CameraFile, seen_at_s: float) -> None:
    shot.files.append(file)
    shot.last_file_at_s = seen_at_s


def _weighs(finding: Finding) -> bool:
    return finding.kind.severity is Severity.FAILURE


def _result_of(checking: "Future[CheckedFile]") -> CheckedFile:
    try:
        return checking.result()
    except Exception as error:  # a worker that died on a damaged RAW is a finding, not our end
        found = Finding(registry.UNREADABLE, detail=f"the checking process ended: {type(error).__name__}")
        return CheckedFile(RawFindings((found,), None, None))
