"""The contact sheet: a roll on paper, strip under strip as it was cut, with the numbers on the film's edge.

What is made here is a layout in millimetres; `sheet_raster` draws it as pixels, `image_files.pdf` as vectors.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, NamedTuple

Ink = tuple[int, int, int]
"""Red, green, blue, 0..255, sRGB."""


class PaperSize(NamedTuple):
    """A sheet of paper, upright."""

    width_mm: float
    height_mm: float


PAPERS: dict[str, PaperSize] = {
    "a4": PaperSize(210.0, 297.0),
    "a3": PaperSize(297.0, 420.0),
    "letter": PaperSize(215.9, 279.4),
    "24x30": PaperSize(240.0, 300.0),
}
"""A sizes: ISO 216. Letter: 8.5 x 11 in, ANSI/ASME Y14.1. 24 x 30 cm: a size of photographic paper; common practice."""


class SheetLook(StrEnum):
    """What the strips look like."""

    PRINT = "print"
    """Positives on black strips, as a contact print shows them."""
    LIGHT_TABLE = "light-table"
    """The film itself, lit from below."""


@dataclass(frozen=True, slots=True)
class SheetFrame:
    """One frame of a sheet."""

    number: str
    """As printed on the film's edge."""
    picture: int | None = None
    """Place of its picture in the list that goes with the sheet; None where there is none."""
    note: str = ""
    """A word on it ("skipped", "blank", "forced")."""
    findings: tuple[str, ...] = ()
    """What the check of its RAW found, a sentence each."""
    picked: bool = False
    """A person chose its take."""


class Box(NamedTuple):
    """A rectangle on the page."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    fill: Ink | None = None
    line: Ink | None = None
    line_mm: float = 0.0


class Words(NamedTuple):
    """A line of text on the page."""

    x_mm: float
    baseline_mm: float
    size_mm: float
    """Height of the letters with their room above and below, as font sizes are meant."""
    text: str
    ink: Ink
    align: Literal["left", "right"] = "left"
    is_bold: bool = False


class Shown(NamedTuple):
    """A picture on the page, fitted into its place whole and unstretched."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    picture: int


Item = Box | Words | Shown


@dataclass(frozen=True, slots=True)
class Page:
    """One sheet of paper and what is on it, in the order in which it is drawn."""

    size: PaperSize
    background: Ink
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStyle:
    """How a sheet is laid out."""

    title: str
    subtitle: str = ""
    paper: PaperSize | None = None
    """None makes the page as large as the roll needs."""
    look: SheetLook = SheetLook.PRINT
    frame_ratio: float = 1.5
    """Width of a frame's place over its height."""
    per_strip: int = 6
    """Places side by side."""


_MARGIN_MM = 9.0
_HEAD_MM = 15.0
_FRAME_ON_OWN_PAGE_MM = 40.0
_SMALLEST_FRAME_MM = 20.0
_FOOT_LINE_MM = 3.4
_FOOT_SIZE_MM = 2.7
_MOST_FOOT_LINES = 14
_LETTER_WIDTH = 0.53
"""Mean width of a letter over the size of its font; from the fonts used here."""
_BLACK: Ink = (17, 17, 18)
_PAPER: Ink = (255, 255, 255)
_TABLE: Ink = (252, 252, 249)
_INK: Ink = (32, 32, 34)
_QUIET: Ink = (104, 104, 108)
_EDGE_INK: Ink = (236, 232, 222)
_EMPTY: Ink = (58, 58, 60)
_PICK: Ink = (206, 40, 34)
"""Red grease pencil, as on prints that are chosen from."""


@dataclass(frozen=True, slots=True)
class _Measures:
    """Sizes on one page, mm."""

    page: PaperSize
    frame_width: float
    frame_height: float
    gap: float
    edge: float
    """Film above and below the pictures."""
    between: float
    rows: int
    """Strips on a page."""

    @property
    def strip_height(self) -> float:
        return self.frame_height + 2 * self.edge


def lay_out_sheet(strips: Sequence[Sequence[SheetFrame]], style: SheetStyle) -> tuple[Page, ...]:
    """Lay a roll out on paper.

    Parameters
    ----------
    strips : sequence of sequences of SheetFrame
        In the film's order; a strip longer than `style.per_strip` goes on in the next row.
    style : SheetStyle

    Returns
    -------
    tuple of Page
        At least one. Paper is turned whichever way shows the frames larger.
    """
    rows = [
        list(strip[first : first + style.per_strip])
        for strip in strips
        for first in range(0, len(strip), style.per_strip)
    ]
    notes = [line for row in rows for frame in row for line in _foot_lines(frame)]
    foot = _foot_height(notes)
    measures = _measure(max(len(rows), 1), style, foot)
    parts = [rows[first : first + measures.rows] for first in range(0, max(len(rows), 1), measures.rows)]
    return tuple(_page(part, number, len(parts), measures, style) for number, part in enumerate(parts, start=1))


def _foot_lines(frame: SheetFrame) -> list[str]:
    return [f"{frame.number}: {text}" for text in frame.findings]


def _foot_height(notes: Sequence[str]) -> float:
    lines = min(len(notes), _MOST_FOOT_LINES)
    return lines * _FOOT_LINE_MM + (4.0 if lines else 0.0)


def _measure(rows: int, style: SheetStyle, foot_mm: float) -> _Measures:
    if style.paper is None:
        measures = _sizes(_FRAME_ON_OWN_PAGE_MM, style, rows, PaperSize(0.0, 0.0))
        width = 2 * _MARGIN_MM + _strip_width(measures, style.per_strip)
        height = 2 * _MARGIN_MM + _HEAD_MM + rows * (measures.strip_height + measures.between) + foot_mm
        return _sizes(_FRAME_ON_OWN_PAGE_MM, style, rows, PaperSize(width, height))
    tries = []
    for page in (style.paper, PaperSize(style.paper.height_mm, style.paper.width_mm)):
        width = _frame_width_for(page.width_mm - 2 * _MARGIN_MM, style)
        room = page.height_mm - 2 * _MARGIN_MM - _HEAD_MM - foot_mm
        fitting = _sizes(width, style, rows, page)
        needed = rows * (fitting.strip_height + fitting.between)
        tries.append(_sizes(min(width, width * room / needed), style, rows, page))
    best = max(tries, key=lambda each: each.frame_width)
    if best.frame_width >= _SMALLEST_FRAME_MM:
        return best
    # Too many strips for one page: upright pages, as many as it takes.
    width = _frame_width_for(style.paper.width_mm - 2 * _MARGIN_MM, style)
    sizes = _sizes(width, style, rows, style.paper)
    room = style.paper.height_mm - 2 * _MARGIN_MM - _HEAD_MM - foot_mm
    return _sizes(width, style, max(int(room // (sizes.strip_height + sizes.between)), 1), style.paper)


def _sizes(frame_width: float, style: SheetStyle, rows: int, page: PaperSize) -> _Measures:
    lit = style.look is SheetLook.LIGHT_TABLE
    return _Measures(
        page=page,
        frame_width=frame_width,
        frame_height=frame_width / style.frame_ratio,
        gap=0.0 if lit else 0.05 * frame_width,
        edge=0.0 if lit else 0.14 * frame_width,
        between=(0.2 if lit else 0.11) * frame_width,
        rows=rows,
    )


def _strip_width(measures: _Measures, frames: int) -> float:
    return frames * measures.frame_width + (frames + 1) * measures.gap


def _frame_width_for(room_mm: float, style: SheetStyle) -> float:
    one = _sizes(1.0, style, 1, PaperSize(0.0, 0.0))
    return room_mm / _strip_width(one, style.per_strip)


def _page(
    rows: Sequence[Sequence[SheetFrame]], number: int, pages: int, measures: _Measures, style: SheetStyle
) -> Page:
    page, items = measures.page, list[Item]()
    right = page.width_mm - _MARGIN_MM
    items.append(Words(_MARGIN_MM, _MARGIN_MM + 4.6, 6.2, _fitted(style.title, 6.2, right - 40), _INK, is_bold=True))
    items.append(Words(_MARGIN_MM, _MARGIN_MM + 10.2, 3.4, _fitted(style.subtitle, 3.4, right - 20), _QUIET))
    if pages > 1:
        items.append(Words(right, _MARGIN_MM + 4.6, 3.4, f"sheet {number} of {pages}", _QUIET, "right"))
    top = _MARGIN_MM + _HEAD_MM
    for row in rows:
        items += _strip(row, top, measures, style)
        top += measures.strip_height + measures.between
    items += _foot([line for row in rows for frame in row for line in _foot_lines(frame)], measures)
    return Page(page, _TABLE if style.look is SheetLook.LIGHT_TABLE else _PAPER, tuple(items))


def _foot(lines: Sequence[str], measures: _Measures) -> list[Item]:
    if len(lines) > _MOST_FOOT_LINES:
        left_out = len(lines) - _MOST_FOOT_LINES + 1
        lines = [*lines[: _MOST_FOOT_LINES - 1], f"... and {left_out} more; tethercap frames tells all."]
    bottom = measures.page.height_mm - _MARGIN_MM
    room = measures.page.width_mm - 2 * _MARGIN_MM
    first = bottom - (len(lines) - 1) * _FOOT_LINE_MM
    return [
        Words(_MARGIN_MM, first + k * _FOOT_LINE_MM, _FOOT_SIZE_MM, _fitted(text, _FOOT_SIZE_MM, room), _QUIET)
        for k, text in enumerate(lines)
    ]


def _strip(row: Sequence[SheetFrame], top: float, measures: _Measures, style: SheetStyle) -> list[Item]:
    items: list[Item] = []
    if style.look is SheetLook.PRINT:
        items.append(Box(_MARGIN_MM, top, _strip_width(measures, len(row)), measures.strip_height, fill=_BLACK))
    for place, frame in enumerate(row):
        x = _MARGIN_MM + measures.gap + place * (measures.frame_width + measures.gap)
        items += _frame(frame, x, top, measures, style)
    return items


def _frame(frame: SheetFrame, x: float, top: float, measures: _Measures, style: SheetStyle) -> list[Item]:
    lit = style.look is SheetLook.LIGHT_TABLE
    width, height, y = measures.frame_width, measures.frame_height, top + measures.edge
    items: list[Item] = []
    if frame.picture is not None:
        items.append(Shown(x, y, width, height, frame.picture))
    else:
        items.append(Box(x, y, width, height, line=_QUIET if lit else _EMPTY, line_mm=0.25))
    size = max(0.085 * width, 2.4)
    baseline = y + height + (0.1 * width if lit else 0.5 * measures.edge + 0.33 * size)
    ink = _INK if lit else _EDGE_INK
    mark = " !" if frame.findings else ""
    items.append(Words(x + 0.02 * width, baseline, size, frame.number + mark, ink, is_bold=True))
    if frame.note:
        room = width * 0.94 - _LETTER_WIDTH * size * (len(frame.number + mark) + 1)
        note = _fitted(frame.note, 0.82 * size, room)
        items.append(Words(x + 0.98 * width, baseline, 0.82 * size, note, _QUIET if lit else _EDGE_INK, "right"))
    if frame.picked:
        rim = 0.018 * width
        items.append(
            Box(x - rim, y - rim, width + 2 * rim, height + 2 * rim, line=_PICK, line_mm=max(0.02 * width, 0.5))
        )
    return items


def _fitted(text: str, size_mm: float, room_mm: float) -> str:
    """Text shortened to about the room there is."""
    most = max(math.floor(room_mm / (_LETTER_WIDTH * size_mm)), 1)
    return text if len(text) <= most else text[: max(most - 1, 1)].rstrip() + "…"
