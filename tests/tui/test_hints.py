"""The word, the tone and the sentence, as a table of truth."""

from dataclasses import replace

import pytest

from tests.tui.drawn_film import sighting_at
from tests.tui.scripted_runner import STANDING
from tethercap.errors import CameraGoneError
from tethercap.session import events
from tethercap.session.events import FiredBy, Mode
from tethercap.session.snapshot import FrameMark
from tethercap.session.states import RunState
from tethercap.tui.big_letters import draw
from tethercap.tui.capture_view import CaptureView, LastShot
from tethercap.tui.hints import Hint, Tone, correction_of, hint_of
from tethercap.watch.directions import Directions
from tethercap.watch.sighting import Decision, Reason, ReasonCode, Sighting, Verdict


def _view(state: RunState, sighting: Sighting | None = None, **changes: object) -> CaptureView:
    view = CaptureView.from_snapshot(STANDING)
    view.state, view.sighting = state, sighting
    view.last = LastShot("14", 1, FiredBy.KEY)
    for name, value in changes.items():
        setattr(view, name, value)
    return view


def _hint(view: CaptureView) -> Hint:
    return hint_of(view, centring_mm=0.3, tilt_deg=0.3)


@pytest.mark.parametrize(
    ("state", "word", "tone"),
    [
        (RunState.NO_FILM, "NO FILM", Tone.QUIET),
        (RunState.MOVING, "MOVING", Tone.QUIET),
        (RunState.SETTLING, "WAIT", Tone.QUIET),
        (RunState.SEATED, "READY", Tone.READY),
        (RunState.HELD, "HOLD", Tone.HOLD),
        (RunState.EXPOSING, "HANDS OFF", Tone.EXPOSING),
        (RunState.PULLING, "PULLING", Tone.BUSY),
        (RunState.CHECKING, "CHECKING", Tone.BUSY),
        (RunState.FILED, "FILED", Tone.DONE),
    ],
)
def test_each_state_has_its_word_and_tone(state: RunState, word: str, tone: Tone) -> None:
    hint = _hint(_view(state, sighting_at(1, 1.0)))
    assert (hint.word, hint.tone) == (word, tone)
    assert hint.sentence.endswith(".")


def test_before_the_first_picture_the_screen_says_what_it_waits_for() -> None:
    hint = _hint(_view(RunState.NO_FILM))
    assert (hint.word, hint.sentence) == ("WAIT", "Waiting for the camera's first live picture.")


@pytest.mark.parametrize("state", [RunState.FILED, RunState.NO_FILM])
def test_a_whole_roll_says_that_it_is_done_and_one_with_a_frame_to_take_again_does_not(state: RunState) -> None:
    view = _view(state, sighting_at(1, 0.0), frames_expected=2, next_frame_id="3")
    view.marks = {"1": FrameMark.TAKEN, "2": FrameMark.FORCED}
    assert _hint(view).word == "ROLL DONE"
    view.marks["2"] = FrameMark.HELD
    assert _hint(view).word != "ROLL DONE"


def test_a_frame_just_filed_keeps_its_number_until_the_film_goes_on() -> None:
    view = _view(RunState.FILED, sighting_at(1, 0.0), next_frame_id="15")
    view.last = LastShot("14", 1, FiredBy.KEY)
    assert view.frame_in_view == "14"
    view.apply(events.StateChanged(RunState.FILED, RunState.MOVING, 1.0))
    assert view.frame_in_view == "15"


def test_an_unexposed_frame_has_a_word_of_its_own_and_the_keys_for_it() -> None:
    reason = Reason(ReasonCode.BLANK_FRAME, "unexposed")
    sighting = replace(sighting_at(1, 0.0), verdict=Verdict(Decision.HOLD, (reason,)))
    hint = _hint(_view(RunState.HELD, sighting))
    assert hint.word == "BLANK"
    assert "b notes it as blank" in hint.sentence and "x takes it" in hint.sentence


def test_every_word_can_be_drawn_and_fits_eighty_columns() -> None:
    for state in RunState:
        word = _hint(_view(state, sighting_at(1, 1.0))).word
        assert draw(word).shape[1] <= 70
        assert draw(word).shape[1] >= 4 * len(word) - 4, f"a letter of {word} has no shape"


@pytest.mark.parametrize(
    ("offset_mm", "across_mm", "tilt_deg", "sentence", "amount"),
    [
        (1.24, 0.0, 0.0, "Move the film 1.2 mm to the left.", "◀ 1.2"),
        (-1.24, 0.0, 0.0, "Move the film 1.2 mm to the right.", "▶ 1.2"),
        (0.0, 0.5, 0.0, "Move the film 0.5 mm away from you.", "▲ 0.5"),
        (0.0, -0.5, 0.0, "Move the film 0.5 mm towards you.", "▼ 0.5"),
        (0.0, 0.0, 0.8, "Turn it 0.8 degrees anticlockwise.", "↺ 0.8°"),
        (0.0, 0.0, -0.8, "Turn it 0.8 degrees clockwise.", "↻ 0.8°"),
        (
            2.0,
            -0.9,
            0.5,
            "Move the film 2.0 mm to the left and 0.9 mm towards you, turn it 0.5 degrees anticlockwise.",
            "◀ 2.0",
        ),
        (0.2, 0.9, 0.1, "Move the film 0.9 mm away from you and 0.2 mm to the left.", "▲ 0.9"),
    ],
)
def test_the_film_goes_against_its_offset(
    offset_mm: float, across_mm: float, tilt_deg: float, sentence: str, amount: str
) -> None:
    hint = _hint(_view(RunState.HELD, sighting_at(1, offset_mm, across_mm=across_mm, tilt_deg=tilt_deg)))
    assert (hint.sentence, hint.amount) == (sentence, amount)


def test_nothing_is_to_be_corrected_within_the_limits() -> None:
    alignment = sighting_at(1, 0.29, across_mm=-0.29, tilt_deg=0.29).alignment
    assert alignment is not None
    assert not correction_of(alignment, centring_mm=0.3, tilt_deg=0.3).needed


def test_cannot_tell_is_said_in_these_words_and_no_way_is_guessed() -> None:
    verdict = Verdict(Decision.CANNOT_TELL, (Reason(ReasonCode.EDGES_NOT_SEEN, "no edge of a frame is seen"),))
    blind = replace(sighting_at(1, 1.0), verdict=verdict, edges=None, alignment=None)
    hint = _hint(_view(RunState.HELD, blind))
    assert (hint.word, hint.tone, hint.amount) == ("UNSURE", Tone.UNSURE, "")
    assert hint.sentence == "Cannot tell: no edge of a frame is seen."


def test_a_refused_key_is_answered_with_the_reason() -> None:
    reason = Reason(ReasonCode.OFF_CENTRE, "off centre")
    hint = _hint(_view(RunState.HELD, sighting_at(1, 1.24), refused=(reason,)))
    assert hint.sentence == "No shot: move the film 1.2 mm to the left."


@pytest.mark.parametrize(
    "state", [RunState.FILED, RunState.SETTLING, RunState.MOVING, RunState.PULLING, RunState.NO_FILM]
)
def test_a_refused_key_is_answered_in_every_state_until_the_state_changes(state: RunState) -> None:
    view = _view(state, sighting_at(1, 0.0))
    view.apply(events.FireRefused("14", (Reason(ReasonCode.MOVING, "this frame is filed already"),)))
    assert _hint(view).sentence == "No shot: this frame is filed already."
    view.apply(events.StateChanged(state, RunState.SEATED, 1.0))
    assert "No shot" not in _hint(view).sentence


def test_trouble_comes_before_everything_and_says_what_is_safe() -> None:
    error = CameraGoneError("The cable came out.", safe="All 13 frames are on disk.", todo="Plug it in again.")
    hint = _hint(_view(RunState.SEATED, sighting_at(1, 0.0), trouble=error))
    assert (hint.word, hint.tone) == ("TROUBLE", Tone.TROUBLE)
    assert hint.sentence.split("\n") == ["The cable came out.", "All 13 frames are on disk.", "Plug it in again."]
    recovering = _hint(_view(RunState.SEATED, sighting_at(1, 0.0), trouble=error, recovering=True))
    assert recovering.word == "NO CAMERA"


def test_paused_and_blind_cameras_say_so() -> None:
    assert _hint(_view(RunState.SEATED, mode=Mode.PAUSED)).word == "PAUSED"
    hint = _hint(_view(RunState.NO_FILM, cannot_watch="This camera sends no live view."))
    assert (hint.word, hint.sentence) == ("BY KEY", "This camera sends no live view.")


def test_hands_free_does_not_ask_for_a_key() -> None:
    assert "by itself" in _hint(_view(RunState.SEATED, mode=Mode.HANDS_FREE)).sentence
    assert _hint(_view(RunState.SEATED, mode=Mode.BY_KEY)).sentence.endswith("press space.")


@pytest.mark.parametrize(
    ("ready", "gone_on", "by_itself"), [(True, False, True), (False, True, True), (False, False, False)]
)
def test_a_frame_that_was_fired_on_in_vain_is_left_to_the_person(ready: bool, gone_on: bool, by_itself: bool) -> None:
    sighting = replace(sighting_at(1, 0.0), ready=ready, gone_on=gone_on)
    sentence = _hint(_view(RunState.SEATED, sighting, mode=Mode.HANDS_FREE)).sentence
    assert sentence.endswith("fires by itself." if by_itself else "press space.")


def test_a_camera_below_the_film_turns_left_into_right_in_words_and_band() -> None:
    view = _view(RunState.HELD, sighting_at(1, 1.24))
    hint = hint_of(view, centring_mm=0.3, tilt_deg=0.3, directions=Directions.for_camera("below"))
    assert (hint.sentence, hint.amount) == ("Move the film 1.2 mm to the right.", "▶ 1.2")
