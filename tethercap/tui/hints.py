"""The one word for the roll's state, what the hand does next, and how that is said; pure."""

from dataclasses import dataclass, replace
from enum import StrEnum

from tethercap.errors import TethercapError
from tethercap.session.events import Mode
from tethercap.session.states import RunState
from tethercap.tui.capture_view import CaptureView
from tethercap.watch.directions import Directions, sentence_for
from tethercap.watch.sighting import Alignment, Decision, ReasonCode, Sighting

AS_THE_PICTURE_SHOWS = Directions()


class Tone(StrEnum):
    """Colour of the verdict; the word and the sign beside it say the same."""

    READY = "ready"
    HOLD = "hold"
    UNSURE = "unsure"
    QUIET = "quiet"
    """Nothing is asked of the person."""
    EXPOSING = "exposing"
    BUSY = "busy"
    DONE = "done"
    TROUBLE = "trouble"


@dataclass(frozen=True, slots=True)
class Hint:
    """What the verdict band shows."""

    word: str
    """At most nine letters, to be read from two metres."""
    tone: Tone
    sentence: str
    """The same in words, with figures; parts that stand for themselves on lines of their own."""
    amount: str = ""
    """Arrow and millimetres, or turn and degrees, in the band's large letters."""


@dataclass(frozen=True, slots=True)
class Correction:
    """How the film must be moved, as the picture shows it."""

    along_mm: float
    """To the right positive; 0 where it is within limits."""
    across_mm: float
    """Down positive."""
    turn_deg: float
    """Clockwise positive."""

    @property
    def needed(self) -> bool:
        """True where anything is out of limits."""
        return bool(self.along_mm or self.across_mm or self.turn_deg)

    def amount(self, *, mirrored: bool = False) -> str:
        """The largest correction as sign and figure: "◀ 1.2", "▲ 0.4", "↻ 0.8°".

        Parameters
        ----------
        mirrored : bool
            The person sees the film's other side: left is right, clockwise is anticlockwise.
        """
        if abs(self.along_mm) >= abs(self.across_mm) and self.along_mm:
            return f"{'▶' if (self.along_mm > 0) != mirrored else '◀'} {abs(self.along_mm):.1f}"
        if self.across_mm:
            return f"{'▼' if self.across_mm > 0 else '▲'} {abs(self.across_mm):.1f}"
        return f"{'↻' if (self.turn_deg > 0) != mirrored else '↺'} {abs(self.turn_deg):.1f}°" if self.turn_deg else ""


def correction_of(alignment: Alignment, *, centring_mm: float, tilt_deg: float) -> Correction:
    """Give the movement that brings the frame to the target; parts within the limits are left at 0.

    The film goes against the offset: a frame that lies too far right goes to the left.
    """
    x_mm, y_mm = alignment.offset
    return Correction(
        along_mm=-x_mm if abs(x_mm) > centring_mm else 0.0,
        across_mm=-y_mm if abs(y_mm) > centring_mm else 0.0,
        turn_deg=-alignment.tilt_deg if abs(alignment.tilt_deg) > tilt_deg else 0.0,
    )


def hint_of(
    view: CaptureView,
    *,
    centring_mm: float,
    tilt_deg: float,
    directions: Directions = AS_THE_PICTURE_SHOWS,
    fire_key: str = "space",
) -> Hint:
    """Say what the screen says now, the most pressing thing first; ways in the words of `directions`."""
    if view.trouble is not None:
        return _trouble(view)
    if view.mode is Mode.PAUSED and not view.busy:
        return Hint("PAUSED", Tone.QUIET, "Watching is paused. The camera rests.")
    if view.cannot_watch and not view.busy and view.state is not RunState.FILED:
        return Hint("BY KEY", Tone.QUIET, view.cannot_watch)
    if view.state is RunState.SEATED:
        hint = _ready(view, fire_key)
    else:
        hint = _of_state(view, centring_mm, tilt_deg, directions)
    if view.refused and view.state is not RunState.HELD:
        return replace(hint, sentence=f"No shot: {'; '.join(reason.text for reason in view.refused)}.")
    return hint


def _ready(view: CaptureView, fire_key: str) -> Hint:
    # What was fired on in vain as often as was chosen is left to the person.
    sighting = view.sighting
    by_itself = view.mode is Mode.HANDS_FREE and (sighting is None or sighting.ready or sighting.gone_on)
    how = "fires by itself" if by_itself else f"press {fire_key}"
    return Hint("READY", Tone.READY, f"Frame {view.next_frame_id} lies centred, square and still: {how}.")


def _of_state(view: CaptureView, centring_mm: float, tilt_deg: float, directions: Directions) -> Hint:
    match view.state:
        case RunState.NO_FILM:
            if view.is_whole:
                return _whole(view)
            if view.sighting is None:
                return Hint("WAIT", Tone.QUIET, "Waiting for the camera's first live picture.")
            return Hint("NO FILM", Tone.QUIET, f"Put a strip into the holder, frame {view.next_frame_id} first.")
        case RunState.MOVING:
            return Hint("MOVING", Tone.QUIET, _moving(view.sighting, centring_mm, directions))
        case RunState.SETTLING:
            return Hint("WAIT", Tone.QUIET, "The film is coming to rest.")
        case RunState.HELD:
            return _held(view, centring_mm, tilt_deg, directions)
        case _:
            return _shot(view)


def _trouble(view: CaptureView) -> Hint:
    error = view.trouble
    parts = (error.what, error.safe, error.todo) if error is not None else ()
    text = "\n".join(part for part in parts if part)
    if view.recovering:
        return Hint("NO CAMERA", Tone.TROUBLE, f"{text}\nTrying to get it back …")
    return Hint("NOT SAVED" if view.pull_again_offered else "TROUBLE", Tone.TROUBLE, text)


def _whole(view: CaptureView) -> Hint:
    text = f"All {view.frames_done} frames are here: q leaves, more film goes on as frame {view.next_frame_id}."
    return Hint("ROLL DONE", Tone.DONE, text)


def _moving(sighting: Sighting | None, centring_mm: float, directions: Directions) -> str:
    if sighting is None or sighting.alignment is None:
        return "The film is moving."
    left_mm = -sighting.alignment.offset.x_mm
    if abs(left_mm) <= centring_mm:
        return "The frame is in the middle: let it lie."
    return f"{abs(left_mm):.1f} mm to go, {directions.right if left_mm > 0 else directions.left}."


def _held(view: CaptureView, centring_mm: float, tilt_deg: float, directions: Directions) -> Hint:
    sighting = view.sighting
    refused = "No shot: " if view.refused else ""
    if sighting is None:
        return Hint("HOLD", Tone.HOLD, refused + " ".join(view.held))
    reasons = [reason for reason in sighting.verdict.reasons if reason.code is not ReasonCode.INFERRED]
    texts = "; ".join(reason.text for reason in reasons)
    if any(reason.code is ReasonCode.BLANK_FRAME for reason in reasons):
        text = f"Frame {view.next_frame_id} looks unexposed: b notes it as blank, x takes it anyway."
        return Hint("BLANK", Tone.UNSURE, text)
    if sighting.verdict.decision is Decision.CANNOT_TELL:
        return Hint("UNSURE", Tone.UNSURE, f"{refused}Cannot tell: {texts or 'the edges are not seen'}.")
    if sighting.alignment is not None:
        fix = correction_of(sighting.alignment, centring_mm=centring_mm, tilt_deg=tilt_deg)
        if fix.needed:
            words = sentence_for(sighting, directions)
            sentence = f"{refused}{words if refused else words[:1].upper() + words[1:]}."
            return Hint("HOLD", Tone.HOLD, sentence, fix.amount(mirrored=directions.mirrored))
    if view.held:
        return Hint("HOLD", Tone.HOLD, refused + " ".join(view.held))
    return Hint("HOLD", Tone.HOLD, f"{refused}{texts or 'The frame is held'}.")


def _shot(view: CaptureView) -> Hint:
    last = view.last
    frame = last.frame_id if last is not None else view.next_frame_id
    match view.state:
        case RunState.EXPOSING:
            return Hint("HANDS OFF", Tone.EXPOSING, f"Frame {frame} is being exposed.")
        case RunState.PULLING:
            return Hint("PULLING", Tone.BUSY, f"Frame {frame} comes from the camera.")
        case RunState.CHECKING:
            return Hint("CHECKING", Tone.BUSY, f"Frame {frame} is opened and looked at.")
        case _ if view.is_whole:
            return _whole(view)
        case _:
            return Hint("FILED", Tone.DONE, f"Frame {frame} is safe. Move the film to frame {view.next_frame_id}.")


def ended_early(error: BaseException) -> TethercapError:
    """Put what ended a run into words for the person."""
    what = (
        error.what
        if isinstance(error, TethercapError)
        else f"the program made a mistake ({type(error).__name__}: {error})"
    )
    return TethercapError(
        f"The run ended: {what}", safe="What was filed is safe.", todo="Press q to leave, and start again."
    )


def leaving_hint(positives_waiting: int, *, busy: bool) -> Hint:
    """Say what is waited for before the program ends."""
    if busy:
        return Hint("WAIT", Tone.BUSY, "Leaving: the shot under way is pulled, checked and filed first.")
    if positives_waiting:
        many = "1 positive is" if positives_waiting == 1 else f"{positives_waiting} positives are"
        return Hint("WAIT", Tone.BUSY, f"Leaving: {many} still being made. Press q again to wait outside the screen.")
    return Hint("BYE", Tone.QUIET, "Leaving. Everything filed is on the disk.")
