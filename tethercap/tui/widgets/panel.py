"""The figures beside the picture."""

from collections.abc import Mapping

from tethercap.exposure.settings import Setting, SettingState
from tethercap.exposure.show import show_value
from tethercap.session.events import Mode
from tethercap.tui.capture_view import CaptureView
from tethercap.tui.hints import Hint
from tethercap.tui.lines import Line, Role, Span, bar, ends, level, line, wrap
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import Alignment, EdgeEvidence, FrameEdges, Motion

_BLANK: Line = ()
_MODE_WORDS = {Mode.BY_KEY: "fires by key", Mode.HANDS_FREE: "fires by itself", Mode.PAUSED: "paused"}


def panel_lines(view: CaptureView, hint: Hint, limits: Limits, width: int, height: int) -> list[Line]:
    """Lay out the figures for a panel of that size; what does not fit is left out from the end.

    The order is by how often the eye needs it: how the frame lies, film, camera, pace, what happened.
    """
    inner = max(10, width - 2)
    blocks = [_position(view, limits, inner), _film(view, inner), _camera(view, inner), _pace(view, inner)]
    lines: list[Line] = []
    for block in blocks:
        lines += [*block, _BLANK]
    if len(lines) > height:  # the small screen: no blank rows between blocks
        lines = [entry for block in blocks for entry in block]
    spare = height - len(lines)
    if spare >= 4 and view.log:
        lines += _log(view, inner, spare)
    return [(Span(" "), *entry) for entry in lines[:height]]


def _heading(title: str, right: str, width: int) -> Line:
    rule = "─" * max(1, width - len(title) - len(right) - 2)
    return line(Span(title, Role.HEADING), Span(f" {rule} ", Role.FAINT), Span(right, Role.STRONG))


def _position(view: CaptureView, limits: Limits, width: int) -> list[Line]:
    sighting = view.sighting
    alignment = sighting.alignment if sighting is not None else None
    edges = sighting.edges if sighting is not None else None
    sure = f"{edges.confidence:.0%} sure" if edges is not None else "not found"
    lines = [_heading(f"frame {view.frame_in_view}", sure, width)]
    offset = alignment.offset if alignment is not None else None
    lines.append(_gauge("along", offset.x_mm if offset else None, "mm", limits.centring_mm, width))
    lines.append(_gauge("across", offset.y_mm if offset else None, "mm", limits.centring_mm, width))
    lines.append(_gauge("tilt", alignment.tilt_deg if alignment else None, "° ", limits.tilt_deg, width))
    lines.append(_edges(edges, width))
    if width >= 36:
        lines.append(_shape(alignment, width))
    return lines


def _gauge(label: str, value: float | None, unit: str, limit: float, width: int) -> Line:
    role = Role.FAINT if value is None else (Role.GOOD if abs(value) <= limit else Role.CAUTION)
    figure = f"{value:+6.2f}" if value is not None else "   ·  "
    tube = max(7, width - 19)
    tube -= 1 - tube % 2
    levelled = level(value, full_scale=6 * limit, limit=limit, width=tube, role=role)
    mark = " " if value is None else ("✓" if abs(value) <= limit else "!")
    return line(
        Span(f"{label:<7}", Role.FAINT),
        Span(figure, role),
        Span(f" {unit} ", Role.FAINT),
        *levelled,
        Span(f" {mark}", role),
    )


def _edges(edges: FrameEdges | None, width: int) -> Line:
    parts: list[Span | str] = [Span("edges  ", Role.FAINT)]
    if edges is None:
        return line(*parts, Span("none seen", Role.UNSURE))
    for evidence in edges.evidence:
        parts += [_edge(evidence, wide=width >= 44), " "]
    return line(*parts)


def _edge(evidence: EdgeEvidence, *, wide: bool) -> Span:
    name = evidence.side.value if wide else evidence.side.value[0].upper()
    if evidence.inferred:
        return Span(f"{name} ┄ ", Role.CAUTION)
    return Span(f"{name} ━{evidence.seen_fraction * 100:.0f}%" if wide else f"{name} ━ ", Role.GOOD)


def _shape(alignment: Alignment | None, width: int) -> Line:
    if alignment is None:
        return _BLANK
    scale = f"{1 / alignment.mm_per_px:.1f} px/mm" if alignment.mm_per_px else ""
    whole = "whole" if alignment.whole else f"{alignment.cut_off_fraction:.1%} cut off"
    return ends(
        line(Span("square ", Role.FAINT), f"{alignment.keystone_deg:.1f}° off"),
        line(Span(f"{scale}  ", Role.FAINT), Span(whole, Role.GOOD if alignment.whole else Role.CAUTION)),
        width,
    )


def _film(view: CaptureView, width: int) -> list[Line]:
    sighting = view.sighting
    kind = (
        sighting.film_kind.value.replace("-", " ")
        if sighting is not None and sighting.film_kind is not None
        else "kind not known yet"
    )
    strip = f"strip {view.strip}" if view.strip else "no strip yet"
    lines = [_heading("film", strip, width)]
    lines.append(line(Span("motion ", Role.FAINT), *_motion(sighting.motion if sighting is not None else None)))
    lines.append(line(Span("kind   ", Role.FAINT), kind))
    if view.strip_lies:
        lines.append(line(Span("lies   ", Role.FAINT), Span(view.strip_lies, Role.CAUTION)))
    return lines


def _motion(motion: Motion | None) -> Line:
    if motion is None:
        return (Span("·", Role.FAINT),)
    if motion.still:
        return (Span(f"still {motion.still_for_s:.1f} s", Role.GOOD),)
    arrow = "▶" if motion.along_mm_s > 0 else "◀"
    speed = abs(motion.along_mm_s)
    chevrons = arrow * min(4, 1 + int(speed / 8))
    return line(Span(f"{speed:5.1f} mm/s ", Role.PLAIN), Span(chevrons, Role.BUSY))


def _setting(settings: Mapping[Setting, SettingState], setting: Setting) -> str:
    state = settings.get(setting)
    return "·" if state is None else show_value(setting, state.value)


def exposure_text(settings: Mapping[Setting, SettingState]) -> str:
    """Time, aperture and ISO as one piece of text."""
    return "  ".join(_setting(settings, setting) for setting in (Setting.SHUTTER, Setting.APERTURE, Setting.ISO))


def _camera(view: CaptureView, width: int) -> list[Line]:
    if view.recovering:
        rate = "not answering"
    elif view.live_per_s:
        rate = f"{view.live_per_s:.0f} pictures/s"
    elif view.sighting is None:
        rate = "no live view" if view.cannot_watch else "waiting for a picture"
    else:
        rate = "live"
    lines = [_heading("camera", rate, width), line(Span("shot   ", Role.FAINT), exposure_text(view.settings))]
    battery = view.settings.get(Setting.BATTERY)
    card = _setting(view.settings, Setting.SHOTS_LEFT)
    parts: list[Span | str] = [Span("power  ", Role.FAINT)]
    if battery is not None and battery.value.number is not None:
        percent = battery.value.number
        parts += [*bar(percent / 100, 6, Role.PLAIN), f" {percent:.0f} %"]
        if percent <= 15:
            parts.append(Span("  low", Role.BAD))
    else:
        parts.append(_setting(view.settings, Setting.BATTERY))
    if card != "·":
        parts += [Span("  card ", Role.FAINT), card if width < 36 else f"{card} left"]
    lines.append(line(*parts))
    return lines


def duration_text(seconds: float) -> str:
    """A time to wait, as a person says it: "40 s", "3 min", "1 h 05"."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d}"


def _pace(view: CaptureView, width: int) -> list[Line]:
    lines = [_heading("roll", _MODE_WORDS[view.mode], width)]
    done, expected = view.frames_done, max(view.frames_expected or 36, view.frames_done, 1)
    room = max(6, width - 19)
    lines.append(line(Span("done   ", Role.FAINT), *bar(done / expected, room, Role.ACCENT), f" {done} of {expected}"))
    pace = f"{view.frames_per_minute:.1f} a minute" if view.frames_per_minute else "not known yet"
    left = f", {duration_text(view.time_left_s)} to go" if view.time_left_s else ""
    lines.append(line(Span("pace   ", Role.FAINT), pace, Span(left, Role.FAINT)))
    return lines


def _log(view: CaptureView, width: int, height: int) -> list[Line]:
    lines = [_heading("so far", "", width)]
    for entry in reversed(view.log):
        if len(lines) >= height:
            break
        role = {True: Role.GOOD, False: Role.CAUTION, None: Role.PLAIN}[entry.good]
        sign = {True: "✓ ", False: "! ", None: "  "}[entry.good]
        wrapped = wrap(entry.text, width - 2)[:2]
        lines += [line(Span(sign if not n else "  ", role), Span(text, Role.PLAIN)) for n, text in enumerate(wrapped)]
    return lines[:height]
