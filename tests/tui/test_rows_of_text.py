"""The lines of the screen as text: gauges, figures, ribbon, last shot, keys."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.tui.drawn_film import live_frame, sighting_at
from tests.tui.scripted_runner import SETTINGS, STANDING, seated, shot
from tethercap.check.findings import Finding, FindingKind, RawFindings, Severity
from tethercap.errors import CameraGoneError, ConversionError
from tethercap.exposure.settings import Setting, SettingState, Value, ValueKind
from tethercap.pictures import LiveFrame
from tethercap.session import events
from tethercap.session.events import Mode
from tethercap.session.snapshot import FrameMark, Snapshot
from tethercap.session.states import RunState
from tethercap.tui.actions import ACTIONS, Where
from tethercap.tui.capture_view import CaptureView
from tethercap.tui.hints import hint_of
from tethercap.tui.lines import Line, Role, Span, bar, ends, fit, level, text_of, width_of, wrap
from tethercap.tui.widgets.band import band_lines
from tethercap.tui.widgets.bars import key_line, last_lines, top_line
from tethercap.tui.widgets.panel import duration_text, exposure_text, panel_lines
from tethercap.tui.widgets.ribbon import ribbon_ids, ribbon_lines
from tethercap.watch.limits import Limits


def _view(*steps: object) -> CaptureView:
    view = CaptureView.from_snapshot(STANDING)
    for step in steps:
        if isinstance(step, Snapshot):
            view.catch_up(step)
        else:
            view.apply(step)  # type: ignore[arg-type]
    return view


def _text(lines: list[Line]) -> str:
    return "\n".join(text_of(each) for each in lines)


def _panel(view: CaptureView, width: int = 38, height: int = 30) -> str:
    hint = hint_of(view, centring_mm=0.3, tilt_deg=0.3)
    return _text(panel_lines(view, hint, Limits(), width, height))


# --- pieces ---


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, "───────┤ ╵ ├───────"),
        (0.0, "───────┤ ● ├───────"),
        (0.3, "───────┤ ╵●├───────"),
        (-1.0, "────●──┤ ╵ ├───────"),
        (5.0, "───────┤ ╵ ├──────▶"),
        (-5.0, "◀──────┤ ╵ ├───────"),
    ],
)
def test_level_shows_where_the_bubble_is_without_colour(value: float | None, expected: str) -> None:
    assert text_of(level(value, full_scale=1.8, limit=0.3, width=19, role=Role.GOOD)) == expected


@pytest.mark.parametrize("width", [0, 1, 5, 11, 12, 30])
def test_a_line_is_cut_or_filled_to_the_width(width: int) -> None:
    fitted = fit((Span("roll ", Role.FAINT), Span("invented", Role.STRONG)), width)
    assert width_of(fitted) == width
    if width == 11:
        assert text_of(fitted) == "roll inven…"


def test_the_right_end_survives_where_both_do_not_fit() -> None:
    assert text_of(ends((Span("a long left side"),), (Span("right"),), 12)) == "a lon… right"


@pytest.mark.parametrize(
    ("fraction", "expected"), [(0, "────"), (0.5, "━━──"), (1, "━━━━"), (2, "━━━━"), (0.4, "━╸──")]
)
def test_bars_fill_by_half_cells(fraction: float, expected: str) -> None:
    assert text_of(bar(fraction, 4, Role.BUSY)) == expected


def test_sentences_break_at_blanks() -> None:
    assert wrap("move the film to the left", 10) == ["move the", "film to", "the left"]


@pytest.mark.parametrize(("seconds", "text"), [(40, "40 s"), (180, "3 min"), (3900, "65 min"), (6000, "1 h 40")])
def test_durations_are_said_as_people_say_them(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


# --- figures ---


def test_panel_gives_offsets_with_signs_units_and_marks() -> None:
    text = _panel(_view(events.Watched(_frame(), sighting_at(30, 1.24, across_mm=-0.08, tilt_deg=0.8))))
    along, across, tilt = text.splitlines()[1:4]
    assert "+1.24 mm" in along and along.endswith("!")
    assert "-0.08 mm" in across and across.endswith("✓")
    assert "+0.80 °" in tilt and tilt.endswith("!")


def _frame() -> LiveFrame:
    return live_frame(30, 0.0)


@pytest.mark.parametrize(("width", "height"), [(34, 15), (38, 30), (58, 50), (20, 3), (10, 40)])
def test_panel_never_leaves_its_place(width: int, height: int) -> None:
    view = _view(*[step for step in (*seated(), *shot()) if not hasattr(step, "seconds")])
    lines = panel_lines(view, hint_of(view, centring_mm=0.3, tilt_deg=0.3), Limits(), width, height)
    assert len(lines) <= height


def test_small_panel_still_has_every_block() -> None:
    text = _panel(_view(events.Watched(_frame(), sighting_at(30, 0.0))), 34, 15)
    assert all(word in text for word in ("along", "tilt", "motion", "shot", "done", "pace"))


def test_nothing_seen_shows_no_figures() -> None:
    blind = replace(sighting_at(30, 0.0), edges=None, alignment=None, motion=None, film_kind=None)
    text = _panel(_view(events.Watched(_frame(), blind)))
    assert "not found" in text and "none seen" in text and "+0.00" not in text


def test_exposure_is_written_as_photographers_write_it() -> None:
    assert exposure_text(_view().settings) == "1/60 s  f/8  ISO 100"


def test_low_battery_is_said_in_a_word() -> None:
    low = SettingState(Setting.BATTERY, Value(ValueKind.NUMBER, "9%", 9))
    assert "low" in _panel(_view(events.SettingsRead({**SETTINGS, Setting.BATTERY: low})))
    assert "low" not in _panel(_view(events.SettingsRead(dict(SETTINGS))))


def test_pace_and_time_to_the_end() -> None:
    """36 expected, 13 marked, one of them held: 24 to go at 9.4 a minute are 153 s."""
    text = _panel(_view())
    assert "12 of 36" in text and "9.4 a minute" in text and "3 min to go" in text


# --- ribbon ---


def test_ribbon_holds_every_frame_and_those_beyond() -> None:
    ids = ribbon_ids({"00": FrameMark.TAKEN, "36A": FrameMark.TAKEN}, "0", 36)
    assert (ids[0], ids[1], ids[2], ids[-1], len(ids)) == ("00", "0", "1", "36A", 39)


def test_ribbon_shows_marks_by_sign_and_where_we_are() -> None:
    numbers, signs, legend = (text_of(each) for each in ribbon_lines(_view(), 120, 3))
    for frame, sign in (("1", "■"), ("4", "▲"), ("9", "○"), ("11", "!"), ("14", "◆"), ("15", "·")):
        at = numbers.index(f" {frame} ") + 1
        assert signs[at] == sign, frame
    assert "10 taken" in legend and "1 again" in legend and "now 14" in legend


@pytest.mark.parametrize("width", [40, 60, 80, 100, 120, 200])
@pytest.mark.parametrize("expected", [12, 36, 72, 250])
def test_ribbon_fits_any_width_and_always_shows_where_we_are(width: int, expected: int) -> None:
    lines = ribbon_lines(_view(replace(STANDING, frames_expected=expected)), width, 2)
    assert all(width_of(each) <= width for each in lines), [width_of(each) for each in lines]
    assert "◆" in _text(lines)


# --- single rows ---


def _finding(severity: Severity) -> RawFindings:
    kind = FindingKind("invented", severity, f"A {severity.value} was found.", "")
    return RawFindings((Finding(kind),), None, None)


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        (lambda: [], "no shot yet"),
        (lambda: shot()[:2], "exposing"),
        (lambda: shot()[:4], "12 of 48 MB"),
        (lambda: shot()[:6], "checking"),
        (lambda: shot(), "✓ filed  48.0 MB in 1.4 s"),
        (lambda: shot(accepted=False, findings=_finding(Severity.FAILURE)), "! kept, take it again"),
        (lambda: [*shot(), events.PositiveMade("14", 1, Path("a.tif"), Path("a.jpg"), 3.0)], "✓ positive"),
        (lambda: [*shot(), events.ConversionFailed("14", 1, ConversionError("no base"))], "the RAW is safe"),
    ],
)
def test_last_row_follows_the_shot(steps: Callable[[], list[object]], expected: str) -> None:
    assert expected in text_of(last_lines(_view(*steps()), 110, 1)[0])


def test_findings_are_said_worst_first() -> None:
    failure, note = _finding(Severity.FAILURE).findings[0], _finding(Severity.NOTE).findings[0]
    view = _view(*shot(findings=RawFindings((note, failure), None, None)))
    assert "A failure was found. A note was found." in _text(last_lines(view, 120, 2))


def test_top_row_says_roll_frame_and_who_fires() -> None:
    text = text_of(top_line(_view(events.ModeChanged(Mode.HANDS_FREE)), "35 mm", 80))
    assert "roll invented-07" in text and "frame 14 of 36" in text and text.rstrip().endswith("hands-free")


@pytest.mark.parametrize("width", [40, 80, 120, 200])
def test_keys_shown_are_whole_and_the_needed_ones_come_first(width: int) -> None:
    keys = key_line(Where.CAPTURE, width)
    assert width_of(keys) <= width
    assert text_of(keys).startswith(" space Fire")


def test_changed_keys_are_the_ones_shown() -> None:
    assert text_of(key_line(Where.CAPTURE, 80, {"fire": "pagedown,space"})).startswith(" pg dn Fire")


@pytest.mark.parametrize(("width", "height"), [(80, 4), (120, 4), (200, 8), (30, 4)])
def test_band_stays_in_its_place_and_drops_the_sign_before_the_word(width: int, height: int) -> None:
    view = _view(
        events.Watched(_frame(), sighting_at(30, 1.24)), events.StateChanged(RunState.SEATED, RunState.HELD, 0.0)
    )
    lines = band_lines(hint_of(view, centring_mm=0.3, tilt_deg=0.3), width, height)
    assert len(lines) <= height
    assert all(width_of(each) <= width for each in lines)


# --- what is known ---


def test_trouble_is_forgotten_when_the_camera_is_back() -> None:
    view = _view(events.CameraTroubled(CameraGoneError("gone"), True))
    assert view.recovering
    view.apply(events.CameraCameBack(4.0))
    assert (view.trouble, view.recovering) == (None, False)


def test_movement_clears_what_was_said_about_the_frame_before() -> None:
    view = _view(events.FireRefused("14", ()), events.FrameHeld("14", (), ("take it again",)))
    view.apply(events.StateChanged(RunState.HELD, RunState.MOVING, 1.0))
    assert (view.refused, view.held) == ((), ())


def test_live_rate_is_measured_from_the_pictures() -> None:
    view = _view(*(events.Watched(_frame(), sighting_at(n, 0.0)) for n in range(31)))
    assert view.live_per_s == pytest.approx(30)


def test_every_action_is_documented_and_has_an_id_of_its_own() -> None:
    assert len({action.id for action in ACTIONS}) == len(ACTIONS)
    for action in ACTIONS:
        assert action.tooltip.endswith(".") and action.help.endswith("."), action.id
        assert len(action.label) <= 12, action.id
