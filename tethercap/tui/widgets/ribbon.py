"""The roll as a ribbon of film: what became of each frame, and where we are."""

from collections.abc import Mapping, Sequence

from tethercap.errors import RollNameError
from tethercap.roll.names import FrameId
from tethercap.session.snapshot import FrameMark
from tethercap.tui.capture_view import CaptureView
from tethercap.tui.lines import Line, Role, Span, line, width_of

MARKS: dict[FrameMark, tuple[str, Role, str]] = {
    FrameMark.TAKEN: ("■", Role.GOOD, "taken"),
    FrameMark.FORCED: ("▲", Role.CAUTION, "forced"),
    FrameMark.HELD: ("!", Role.BAD, "again"),
    FrameMark.BLANK: ("○", Role.FAINT, "blank"),
    FrameMark.SKIPPED: ("–", Role.FAINT, "left out"),
}
"""Sign, role and word for each mark: three ways to read it."""
_OPEN = ("·", Role.FAINT)
_HERE = ("◆", Role.ACCENT)


def ribbon_ids(marks: Mapping[str, FrameMark], next_id: str, expected: int) -> list[str]:
    """Frames to show, in film order: 1 to the expected number, and any others that are marked or come next."""
    ids = {FrameId(number) for number in range(1, expected + 1)}
    for text in (*marks, next_id):
        try:
            ids.add(FrameId.parse(text))
        except RollNameError:
            continue
    return [str(frame_id) for frame_id in sorted(ids)]


def _sign(frame: str, view: CaptureView) -> tuple[str, Role]:
    if frame == view.next_frame_id:
        return _HERE
    mark = view.marks.get(frame)
    return MARKS[mark][:2] if mark is not None else _OPEN


def _legend(view: CaptureView) -> Line:
    parts: list[Span | str] = [Span("◆ ", Role.ACCENT), Span(f"now {view.next_frame_id}  ", Role.FAINT)]
    for mark, (sign, role, word) in MARKS.items():
        count = sum(other is mark for other in view.marks.values())
        if count:
            parts += [Span(f"{sign} ", role), Span(f"{count} {word}  ", Role.FAINT)]
    return line(*parts)


def ribbon_lines(view: CaptureView, width: int, rows: int) -> list[Line]:
    """Draw the roll in two rows (small) or three (with numbers on every frame, where they fit)."""
    ids = ribbon_ids(view.marks, view.next_frame_id, view.frames_expected or 36)
    widest = 5 if rows >= 3 else 2
    gaps = len(ids) // 6 + 2
    pitch = next((each for each in range(widest, 1, -1) if each * len(ids) + gaps <= width), 1)
    if pitch == 1 and len(ids) + len(ids) // 6 + 2 > width:
        ids = _around(ids, view.next_frame_id, (width - 2) * 6 // 7 - 1)
    numbers, signs = _rows(ids, view, pitch)
    legend = _legend(view)
    if rows >= 3:
        return [numbers, signs, (Span(" "), *legend)]
    room = width - width_of(signs)
    if room > width_of(legend) + 2:
        return [numbers, (*signs, Span("  "), *legend)]
    return [numbers, signs]


def _around(ids: Sequence[str], here: str, count: int) -> list[str]:
    middle = ids.index(here) if here in ids else 0
    start = max(0, min(len(ids) - count, middle - count // 2))
    return list(ids[start : start + count])


def _rows(ids: Sequence[str], view: CaptureView, pitch: int) -> tuple[Line, Line]:
    numbers: list[Span] = [Span(" ")]
    signs: list[Span] = [Span(" ")]
    owed = 0
    for index, frame in enumerate(ids):
        if index and index % 6 == 0:
            gap = max(0, 1 - owed)
            owed = max(0, owed - 1)
            numbers.append(Span(" " * gap))
            signs.append(Span(" "))
        sign, role = _sign(frame, view)
        signs.append(Span(sign * (pitch - 1 if pitch > 1 else 1), role))
        signs.append(Span(" " if pitch > 1 else ""))
        here_is_next = ids[index + 1 : index + 2] == [view.next_frame_id] and len(frame) >= pitch
        starts_strip = index % 6 == 0 and not here_is_next  # two numbers would run into one another
        wanted = frame if pitch >= 3 or starts_strip or frame == view.next_frame_id else ""
        shown = wanted if owed == 0 else ""
        cell = max(0, pitch - owed)
        owed = max(0, owed - pitch)
        if len(shown) > cell:
            owed += len(shown) - cell
        here = Role.ACCENT if frame == view.next_frame_id else Role.FAINT
        numbers.append(Span(shown.ljust(cell) if shown else " " * cell, here))
    return tuple(s for s in numbers if s.text), tuple(s for s in signs if s.text)
