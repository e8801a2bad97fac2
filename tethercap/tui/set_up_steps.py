"""The steps of setting a rig up: what each shows, and when it is good. More steps are more entries in `STEPS`."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tethercap.errors import TethercapError
from tethercap.exposure.settings import Setting, SettingState
from tethercap.exposure.show import show_value
from tethercap.geometry import PointPx
from tethercap.pictures import LiveFrame
from tethercap.tui.lines import Line, Role, Span, bar, level, line, wrap
from tethercap.tui.meters import PLACES, BestFocus, Light, measure_focus, measure_framing, measure_light
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import FrameEdges, Sighting

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_ROOM_MM = (0.5, 3.0)
"""Room to leave around the frame: enough to see its edges, not so much that pixels are given away. Common practice."""
_BRIGHTEST = (150.0, 245.0)
"""Where the clear film should lie in a live view, levels of 255: bright, and not clipped. Common practice."""
_SAME_PLACE_MM = 1.0
"""Film that has moved further shows other detail: its focus is not compared with what was there before."""


@dataclass(slots=True)
class SetUpView:
    """What the screen knows."""

    frame: LiveFrame | None = None
    sighting: Sighting | None = None
    settings: dict[Setting, SettingState] = field(default_factory=dict)
    focus: tuple[float | None, ...] = (None,) * len(PLACES)
    light: Light | None = None
    best: BestFocus = field(default_factory=BestFocus)
    limits: Limits = field(default_factory=Limits)
    _lies: FrameEdges | None = None
    """Where the frame was seen last; out of focus it is not found, and lies there still."""
    _focused_at_px: PointPx | None = None
    """Middle of the frame on which the best focus was reached."""

    def take(self, frame: LiveFrame, sighting: Sighting) -> None:
        """Take a live picture in."""
        self.frame, self.sighting = frame, sighting

    def measure(self) -> None:
        """Measure focus and light on the newest picture."""
        if self.frame is None:
            return
        if self.sighting is not None and self.sighting.edges is not None:
            self._frame_lies(self.sighting.edges)
        self.focus = self.best.shares(measure_focus(self.frame.pixels_bgr, self._lies))
        self.light = measure_light(self.frame.pixels_bgr, self._lies)

    def _frame_lies(self, edges: FrameEdges) -> None:
        self._lies, before = edges, self._focused_at_px
        middle = PointPx(*edges.corners.as_array().mean(axis=0).tolist())
        if before is None or math.dist(before, middle) * edges.mm_per_px > _SAME_PLACE_MM:
            self._focused_at_px = middle
            self.best.forget()


@dataclass(frozen=True, slots=True)
class Finding:
    """What a step says: how it stands, in a word and a sentence, and the lines of its meter."""

    good: bool | None
    """None where it cannot be told."""
    sentence: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of setting up."""

    id: str
    name: str
    what: str
    """What to do at the rig."""
    look: Callable[[SetUpView, int], Finding]
    peaking: bool = False


def _row(label: str, figure: str, meter: Line, role: Role) -> Line:
    return line(Span(f" {label:<13}", Role.FAINT), Span(f"{figure:>8} ", role), *meter)


def look_at_framing(view: SetUpView, width: int) -> Finding:
    """Does the frame fill the view, straight, with a little room around it?"""
    sighting, frame = view.sighting, view.frame
    if sighting is None or frame is None or sighting.edges is None or sighting.alignment is None:
        return Finding(None, "No frame is seen: put film in, light on, and bring the camera near.", ())
    framing, alignment = measure_framing(sighting.edges, frame.size), sighting.alignment
    room = max(9, width - 27) | 1
    lines: list[Line] = []
    for name, room_mm in zip(("left", "right", "top", "bottom"), framing.margin_mm, strict=True):
        role = Role.GOOD if room_mm >= _ROOM_MM[0] else Role.CAUTION
        lines.append(_row(f"room {name}", f"{room_mm:.1f} mm", bar(room_mm / 6, room, role), role))
    limits = view.limits
    for name, value, limit in (
        ("turned", alignment.tilt_deg, limits.tilt_deg),
        ("leaning", alignment.keystone_deg, limits.keystone_deg),
    ):
        role = Role.GOOD if abs(value) <= limit else Role.CAUTION
        meter = level(value, full_scale=6 * limit, limit=limit, width=room, role=role)
        lines.append(_row(name, f"{value:+.2f}°", meter, role))
    lines.append(
        line(
            Span(" fills        ", Role.FAINT),
            f"{framing.fills:>7.0%}  ",
            Span(f"{framing.px_per_mm:.1f} live px/mm", Role.FAINT),
        )
    )
    return Finding(
        *_framing_verdict(framing.margin_mm, alignment.tilt_deg, alignment.keystone_deg, limits), tuple(lines)
    )


def _framing_verdict(
    margin_mm: tuple[float, float, float, float], tilt_deg: float, keystone_deg: float, limits: Limits
) -> tuple[bool, str]:
    tightest, widest = min(margin_mm), min(margin_mm[0] + margin_mm[1], margin_mm[2] + margin_mm[3]) / 2
    if tightest < 0:
        return False, "The frame is cut off: move the camera away, or centre the film."
    if tightest < _ROOM_MM[0]:
        return (
            False,
            "The frame lies too near the rim: its edge must be seen. Centre it, or move the camera away a little.",
        )
    if widest > _ROOM_MM[1]:
        return False, f"There are {widest:.1f} mm of room all around: move the camera nearer, pixels are given away."
    if abs(tilt_deg) > limits.tilt_deg:
        return False, "Turn the camera, or the holder, until the frame lies straight."
    if abs(keystone_deg) > limits.keystone_deg:
        return False, "Opposite edges are not parallel: level the camera over the film."
    return True, "The frame fills the view, straight, with a little room around it."


def look_at_focus(view: SetUpView, width: int) -> Finding:
    """Is it sharp in the middle and at the corners?"""
    room = max(8, width - 26)
    lines = []
    for place, share in zip(PLACES, view.focus, strict=True):
        role = Role.FAINT if share is None else (Role.GOOD if share > 0.9 else Role.CAUTION)
        meter = bar(share or 0, room, role)
        lines.append(_row(place, "nothing" if share is None else f"{share:.0%}", meter, role))
    told = [share for share in view.focus if share is not None]
    if not told:
        return Finding(
            None, "Cannot tell: there is nothing fine to focus on here. Choose a frame with detail.", tuple(lines)
        )
    if not view.best.passed_peak:
        return Finding(None, "Turn the focus through its sharpest point, until the bars fall again.", tuple(lines))
    if min(told) > 0.9:
        return Finding(True, "As sharp as it has been, middle and corners.", tuple(lines))
    worst = PLACES[min((s, n) for n, s in enumerate(view.focus) if s is not None)[1]]
    return Finding(False, f"Less sharp than it was at the {worst}: turn the focus back.", tuple(lines))


def look_at_exposure(view: SetUpView, width: int) -> Finding:
    """Is the clear film bright, and nothing clipped?"""
    light = view.light
    shown = [
        line(Span(f" {name:<13}", Role.FAINT), show_value(setting, view.settings[setting].value))
        for name, setting in (("time", Setting.SHUTTER), ("aperture", Setting.APERTURE), ("sensitivity", Setting.ISO))
        if setting in view.settings
    ]
    if light is None:
        return Finding(None, "No live picture yet.", tuple(shown))
    lines = []
    for name, role, shares, brightest, clipped in zip(
        ("red", "green", "blue"),
        (Role.BAD, Role.GOOD, Role.BUSY),
        light.histogram,
        light.brightest,
        light.clipped,
        strict=True,
    ):
        columns = max(8, width - 26)
        pooled = np.interp(np.linspace(0, 63, columns), np.arange(64), shares)
        heights = np.clip(np.rint(np.sqrt(pooled / max(float(pooled.max()), 1e-9)) * 8), 0, 8).astype(int)
        mark = "!" if clipped > 0.001 else " "
        lines.append(_row(name, f"{brightest:.0f}{mark}", (Span("".join(_EIGHTHS[n] for n in heights), role),), role))
    lines += [line(Span(" clipped      ", Role.FAINT), f"{max(light.clipped):>7.2%}")]
    top = max(light.brightest)
    if max(light.clipped) > 0.001:
        return Finding(False, "Something is clipped: a shorter time, or less light.", (*lines, *shown))
    if top < _BRIGHTEST[0]:
        return Finding(False, "The clear film is dark: a longer time gains shadow detail.", (*lines, *shown))
    return Finding(top <= _BRIGHTEST[1], "The clear film is bright and nothing is clipped.", (*lines, *shown))


STEPS: tuple[Step, ...] = (
    Step("framing", "framing", "Bring camera and film together until the frame fills the view.", look_at_framing),
    Step("focus", "focus", "Open the aperture, focus on grain, close it again.", look_at_focus, peaking=True),
    Step("exposure", "exposure", "Set the time so that clear film is bright and nothing is clipped.", look_at_exposure),
)


def step_lines(view: SetUpView, chosen: int, width: int) -> list[Line]:
    """All steps with their marks, the chosen one opened."""
    lines: list[Line] = []
    for number, step in enumerate(STEPS):
        finding = step.look(view, width)
        sign, role = {True: ("✓", Role.GOOD), False: ("!", Role.CAUTION), None: ("?", Role.UNSURE)}[finding.good]
        open_role = Role.STRONG if number == chosen else Role.FAINT
        lines.append(
            line(
                Span(f" {number + 1} ", Role.ACCENT if number == chosen else Role.FAINT),
                Span(f"{step.name:<12}", open_role),
                Span(sign, role),
            )
        )
        if number == chosen:
            lines += [line(Span("   ", Role.FAINT), Span(text, Role.FAINT)) for text in wrap(step.what, width - 4)]
            lines += [(), *finding.lines, ()]
            lines += [line("   ", Span(text, role)) for text in wrap(finding.sentence, width - 4)]
            lines.append(())
    return lines


def trouble_lines(error: TethercapError, width: int) -> list[Line]:
    """What stands in place of the steps while the camera does not answer."""
    said = [text for part in (error.what, error.safe, error.todo) for text in wrap(part, width - 4)]
    return [
        line(Span(" ! no camera", Role.BAD)),
        (),
        *(line("   ", text) for text in said),
        (),
        *(line("   ", Span(text, Role.FAINT)) for text in wrap("The picture is the last one that came.", width - 4)),
    ]
