"""Lines of text whose parts have a role instead of a colour: pure values, shown by a widget or printed plainly."""

from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import NamedTuple

from rich.cells import cell_len, set_cell_size


class Role(StrEnum):
    """What a part of a line is; a theme decides how that looks, and every role also reads without colour."""

    PLAIN = "plain"
    FAINT = "faint"
    """Labels and units beside the value that matters."""
    STRONG = "strong"
    GOOD = "good"
    CAUTION = "caution"
    BAD = "bad"
    UNSURE = "unsure"
    BUSY = "busy"
    ACCENT = "accent"
    """Where we are, and keys."""
    HEADING = "heading"


class Span(NamedTuple):
    """A piece of text in one role."""

    text: str
    role: Role = Role.PLAIN


Line = tuple[Span, ...]


def line(*parts: Span | str) -> Line:
    """Make a line from spans and plain texts; empty ones are dropped."""
    spans = (part if isinstance(part, Span) else Span(part) for part in parts)
    return tuple(span for span in spans if span.text)


def text_of(spans: Iterable[Span]) -> str:
    """The line's text alone."""
    return "".join(span.text for span in spans)


def width_of(spans: Iterable[Span]) -> int:
    """Width in terminal cells."""
    return sum(cell_len(span.text) for span in spans)


def fit(spans: Sequence[Span], width: int) -> Line:
    """Cut the line at `width` cells or fill it up with blanks."""
    fitted: list[Span] = []
    left = width
    for span in spans:
        size = cell_len(span.text)
        if size > left:
            shortened = set_cell_size(span.text, left)
            fitted.append(Span(shortened[:-1] + "…" if left > 1 and shortened.strip() else shortened, span.role))
            left = 0
            break
        fitted.append(span)
        left -= size
    if left > 0:
        fitted.append(Span(" " * left))
    return tuple(span for span in fitted if span.text)


def ends(left: Sequence[Span], right: Sequence[Span], width: int) -> Line:
    """Put one line's parts at the left and others at the right; the right side wins where both do not fit."""
    room = width - width_of(right)
    if room <= 0:
        return fit(right, width)
    gap = 1 if width_of(left) >= room > 1 else 0  # what is cut off does not run into the right side
    return fit((*fit(left, room - gap), Span(" " * gap)), room) + tuple(right)


def wrap(text: str, width: int) -> list[str]:
    """Break a sentence at blanks into lines of at most `width` cells."""
    lines: list[str] = []
    for word in text.split():
        if lines and cell_len(lines[-1]) + 1 + cell_len(word) <= width:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return lines


def level(value: float | None, *, full_scale: float, limit: float, width: int, role: Role) -> Line:
    """Draw a spirit level: a bubble on a tube, two marks between which it is good.

    Parameters
    ----------
    value : float or None
        None draws an empty tube.
    full_scale : float
        Value at which the bubble reaches the end; beyond it the bubble becomes an arrow head.
    limit : float
        Where the marks stand, in the unit of `value`.
    width : int
        Cells, an odd number gives a true middle; at least 7.
    role : Role
        Role of the bubble.
    """
    half = (width - 1) // 2
    tube = ["─"] * width
    mark = max(1, round(half * limit / full_scale))
    tube[max(0, half - mark - 1)], tube[min(width - 1, half + mark + 1)] = "┤", "├"
    for place in range(max(0, half - mark), min(width, half + mark + 1)):
        tube[place] = " "
    tube[half] = "╵"
    if value is None:
        return (Span("".join(tube), Role.FAINT),)
    steps = round(half * min(1.0, abs(value) / full_scale))
    steps = min(steps, mark) if abs(value) <= limit else max(steps, min(mark + 2, half))  # never on the wrong side
    place = half + (steps if value > 0 else -steps)
    bubble = "●" if abs(value) <= full_scale else ("◀" if value < 0 else "▶")
    return line(
        Span("".join(tube[:place]), Role.FAINT), Span(bubble, role), Span("".join(tube[place + 1 :]), Role.FAINT)
    )


def bar(fraction: float, width: int, role: Role) -> Line:
    """Draw a progress bar in half cells, heavy for what is done, light and faint for the rest.

    Parameters
    ----------
    fraction : float
        Held to 0..1.
    """
    halves = round(max(0.0, min(1.0, fraction)) * width * 2)
    full, half = divmod(halves, 2)
    done = "━" * full + "╸" * half
    return line(Span(done, role), Span("─" * (width - len(done)), Role.FAINT))
