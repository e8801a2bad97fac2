"""The single rows: what is going on (top), the last shot, keys (bottom)."""

from collections.abc import Mapping

from tethercap.session.events import Mode
from tethercap.session.states import RunState
from tethercap.tui.actions import Where, actions_of, key_name
from tethercap.tui.capture_view import CaptureView, LastShot
from tethercap.tui.lines import Line, Role, Span, bar, ends, fit, line, width_of

_MODE_SIGNS = {Mode.BY_KEY: "● by key", Mode.HANDS_FREE: "◉ hands-free", Mode.PAUSED: "‖ paused"}


def top_line(view: CaptureView, title: str, width: int) -> Line:
    """Roll and film at the left, who fires at the right."""
    left = line(" ", Span(f"roll {view.roll_id}", Role.STRONG), Span(f"   {title}", Role.FAINT))
    whole = view.frames_left == 0
    middle = f"all {view.frames_done} done" if whole else f"frame {view.next_frame_id}"
    if view.frames_expected and not whole:
        middle += f" of {view.frames_expected}"
    role = Role.ACCENT if view.mode is Mode.HANDS_FREE else Role.PLAIN
    right = line(Span(f"{middle}   ", Role.PLAIN), Span(f"{_MODE_SIGNS[view.mode]} ", role))
    return ends(left, right, width)


def last_lines(view: CaptureView, width: int, rows: int) -> list[Line]:
    """The last shot: how far it has come, what the check said, its positive."""
    last = view.last
    if last is None:
        waiting = line(Span(" last  ", Role.HEADING), Span("no shot yet", Role.FAINT))
        return [fit(waiting, width), ()][:rows]
    take = f" take {last.take}" if last.take > 1 else ""
    head = [Span(" last  ", Role.HEADING), Span(f"frame {last.frame_id}{take}  ", Role.STRONG)]
    if rows < 2:
        return [fit((*head, *_progress(view, last, width)), width)]
    return [fit((*head, *_progress(view, last, width)), width), fit((Span("       "), *_findings(last)), width)]


def _progress(view: CaptureView, last: LastShot, width: int) -> Line:
    if view.state is RunState.EXPOSING:
        return line(Span(f"exposing ({last.fired_by.value})", Role.BUSY))
    if view.state is RunState.PULLING:
        share = last.done_bytes / last.total_bytes if last.total_bytes else 0.0
        size = f" {last.done_bytes / 1e6:.0f} of {last.total_bytes / 1e6:.0f} MB" if last.total_bytes else ""
        return line(*bar(share, max(8, min(30, width - 50)), Role.BUSY), size)
    if last.filed is None:
        return line(Span("checking …", Role.BUSY) if last.passed is None else Span("filing …", Role.BUSY))
    filed = last.filed
    verdict = Span("✓ filed  ", Role.GOOD) if filed.accepted else Span("! kept, take it again  ", Role.BAD)
    size = f"{filed.size_bytes / 1e6:.1f} MB in {filed.pulled_in_s:.1f} s  "
    return line(verdict, Span(size, Role.FAINT), *_positive(last), Span(filed.path.name, Role.FAINT))


def _positive(last: LastShot) -> Line:
    if last.conversion_failed:
        return (Span("! no positive, the RAW is safe  ", Role.CAUTION),)
    if last.positive is not None:
        return (Span("✓ positive  ", Role.GOOD),)
    return ()


def _findings(last: LastShot) -> Line:
    if last.passed is None:
        return (Span("not checked yet", Role.FAINT),)
    if not last.findings:
        return (Span("the check found nothing to say", Role.FAINT),)
    return (Span(" ".join(last.findings), Role.PLAIN if last.passed else Role.BAD),)


_ALWAYS = ("help", "leave")
"""Shown at the right end whatever the width: who knows these two finds the rest."""


def key_line(where: Where, width: int, keys: Mapping[str, str] | None = None) -> Line:
    """As many keys as fit, the most needed first, help and leaving at the end; `keys` overrules the registry's."""
    pieces = {
        action.id: (
            Span(f" {key_name((keys or {}).get(action.id, action.key))} ", Role.ACCENT),
            Span(f"{action.label} ", Role.FAINT),
        )
        for action in actions_of(where)
        if action.rank < 50
    }
    last = tuple(span for action_id in _ALWAYS for span in pieces.pop(action_id, ()))
    left = width - width_of(last) - 1
    shown: list[Span] = []
    for piece in pieces.values():
        if width_of(piece) > left:
            break
        shown += piece
        left -= width_of(piece)
    return ends(tuple(shown), last, width)
