"""One frame large: zoom, histogram of the RAW per channel, map of sharpness."""

from collections.abc import Sequence
from typing import ClassVar

import cv2
import numpy as np
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.message import Message

from tethercap.errors import TethercapError
from tethercap.image_files.raw import read_raw
from tethercap.pictures import U8Array
from tethercap.tui.actions import Where, bindings_of
from tethercap.tui.lines import Line, Role, Span, ends, line
from tethercap.tui.pictures_of import RawStudy, negative_of, small_jpeg, study_raw
from tethercap.tui.roll_cards import FrameCard, fact_lines
from tethercap.tui.screens.picture import PictureScreen, no_further
from tethercap.tui.widgets.bars import key_line
from tethercap.tui.widgets.rows import Rows
from tethercap.tui.widgets.still_view import StillView

_LARGE_PX = 6000
_EIGHTHS = " ▁▂▃▄▅▆▇█"
_CHANNELS = (("R", Role.BAD), ("G", Role.GOOD), ("B", Role.BUSY))


def histogram_lines(study: RawStudy, width: int, rows_each: int = 2) -> list[Line]:
    """Draw the RAW's levels, one band a channel, in stops below saturation: dark at the left, clipped at the right."""
    lines: list[Line] = []
    inner = max(12, width - 4)
    for (name, role), shares, clipped in zip(_CHANNELS, study.histogram, study.clipped, strict=True):
        binned = np.asarray(cv2.resize(shares.reshape(1, -1), (inner, 1), interpolation=cv2.INTER_AREA)).reshape(-1)
        heights = np.sqrt(binned / max(float(binned.max()), 1e-9)) * rows_each * 8
        for row in range(rows_each):
            level = np.clip(np.rint(heights - 8 * (rows_each - 1 - row)), 0, 8).astype(int)
            label = f" {name} " if row == rows_each - 1 else "   "
            lines.append(line(Span(label, role), Span("".join(_EIGHTHS[n] for n in level), role)))
        if clipped > 0.0001:
            lines.append(line(Span(f"   {name} clipped {clipped:.2%}", Role.CAUTION)))
    scale = ends((Span("   −12", Role.FAINT),), (Span("stops    0 ", Role.FAINT),), inner + 3)
    return [*lines, scale]


def scale_text(scale: float) -> str:
    """How large the picture's pixels are shown: "1:11" is one dot for eleven pixels, "2:1" two dots for one."""
    return f"{scale:.2g}:1" if scale >= 1 else f"1:{1 / scale:.2g}"


def with_sharpness(pixels_bgr: U8Array, study: RawStudy) -> U8Array:
    """Lay the map of sharpness over a picture: grey where nothing is sharp, amber where most is."""
    height, width = pixels_bgr.shape[:2]
    amount = np.asarray(cv2.resize(study.sharpness, (width, height), interpolation=cv2.INTER_LINEAR))[..., None]
    grey = pixels_bgr.mean(axis=-1, keepdims=True) * 0.45
    amber = np.array([40, 170, 255], dtype=np.float32)
    return np.asarray(np.clip(grey + amount * amber * 0.75, 0, 255), dtype=np.uint8)


class FrameScreen(PictureScreen):
    """Shows one frame of some, large.

    Parameters
    ----------
    cards : sequence of FrameCard
        Frames to go through, each with a picture.
    key : str
        The one to begin with.
    """

    where = Where.FRAME
    BINDINGS: ClassVar[list[BindingType]] = [
        *bindings_of(Where.FRAME),
        Binding("escape", "app.pop_screen", "Back", show=False),
        Binding("left", "pan(-1, 0)", "Left", show=False),
        Binding("right", "pan(1, 0)", "Right", show=False),
        Binding("up", "pan(0, -1)", "Up", show=False),
        Binding("down", "pan(0, 1)", "Down", show=False),
    ]

    class Opened(Message):
        """A frame's picture was read."""

        def __init__(
            self, key: str, positive: U8Array | None, negative: U8Array | None, study: RawStudy | None, error: str = ""
        ) -> None:
            super().__init__()
            self.key, self.positive, self.negative = key, positive, negative
            self.study, self.error = study, error

    def __init__(self, cards: Sequence[FrameCard], key: str) -> None:
        super().__init__()
        self.cards = list(cards)
        self.place = next((n for n, card in enumerate(cards) if card.key == key), 0)
        self._negative = False
        self._sharp = False
        self.opened: FrameScreen.Opened | None = None

    def compose(self) -> ComposeResult:
        """Picture at the left, facts and histogram at the right."""
        yield Rows(id="top")
        with Horizontal(id="bench"):
            yield StillView(id="still")
            with Vertical(id="side"):
                yield Rows(id="facts")
                yield Rows(id="levels")
        yield Rows(id="keys")

    @property
    def card(self) -> FrameCard:
        """The frame shown."""
        return self.cards[self.place]

    def on_mount(self) -> None:
        """Open the first frame."""
        self._open()

    def on_resize(self) -> None:
        """Lay out again once the parts have their sizes."""
        self.call_after_refresh(self._show_rows)

    def leave(self) -> None:
        """Go back to the roll."""
        self.app.pop_screen()

    def _open(self) -> None:
        self.opened = None
        self._show_rows()
        self.read_frame(self.card)

    @work(thread=True, exclusive=True, group="frame")
    def read_frame(self, card: FrameCard) -> None:
        """Read positive and RAW, in a thread; the positive is shown first."""
        positive, error = None, ""
        try:
            if card.proof is not None and card.proof.exists():
                positive = small_jpeg(card.proof, _LARGE_PX)
                self.post_message(self.Opened(card.key, positive, None, None))
            raw = read_raw(card.raw) if card.raw is not None else None
        except (TethercapError, OSError) as failed:
            raw, error = None, str(failed)
        negative = negative_of(raw) if raw is not None else None
        study = study_raw(raw) if raw is not None else None
        self.post_message(self.Opened(card.key, positive, negative, study, error))

    def on_frame_screen_opened(self, message: "FrameScreen.Opened") -> None:
        """Show what was read, unless another frame is shown by now."""
        if message.key == self.card.key:
            self.opened = message
            self._show_picture(keep_window=True)
            self._show_rows()

    @property
    def _shows_negative(self) -> bool:
        """The picture shown is the RAW's: as wanted, or since no positive was made."""
        return self._negative or (self.opened is not None and self.opened.positive is None)

    def _show_picture(self, *, keep_window: bool) -> None:
        opened = self.opened
        if opened is None:
            return
        picture = opened.negative if self._shows_negative else opened.positive
        if picture is not None and self._sharp and opened.study is not None:
            picture = with_sharpness(picture, opened.study)
        self.query_one(StillView).show_picture(picture, keep_window=keep_window)

    def _show_rows(self) -> None:
        if not self.is_mounted or self.app.screen is not self:
            return
        still = self.query_one(StillView)
        kind = "negative" if self._shows_negative else "positive"
        state = "" if self.opened is not None else "   opening …"
        left = line(" ", Span(f"frame {self.card.key}", Role.STRONG), Span(f"   {kind}{state}", Role.FAINT))
        scale = f"   {scale_text(still.scale)}" if still.pixels_bgr is not None else ""
        right = line(Span(f"{self.place + 1} of {len(self.cards)}   zoom {still.window.zoom:g}{scale} "))
        self.query_one("#top", Rows).show([ends(left, right, self.size.width)])
        facts, levels = self.query_one("#facts", Rows), self.query_one("#levels", Rows)
        facts.show(fact_lines(self.card, facts.size.width)[: facts.size.height])
        levels.show(self._level_lines(levels.size.width))
        self.query_one("#keys", Rows).show([key_line(self.where, self.size.width, getattr(self.app, "keys", None))])

    def _level_lines(self, width: int) -> list[Line]:
        opened = self.opened
        if opened is not None and opened.error:
            return [line(Span(f" ! {opened.error}", Role.BAD))]
        if opened is None or opened.study is None:
            return [line(Span(" counting the RAW …", Role.FAINT))]
        return [line(Span(" RAW, stops below saturation", Role.HEADING)), *histogram_lines(opened.study, width)]

    # --- keys ---

    def action_closer(self) -> None:
        """Zoom in."""
        self._zoom(1)

    def action_further(self) -> None:
        """Zoom out."""
        self._zoom(-1)

    def _zoom(self, step: int) -> None:
        still = self.query_one(StillView)
        still.look_at(still.window.zoomed(step))
        self._show_rows()

    def action_pan(self, across: int, down: int) -> None:
        """Look beside."""
        still = self.query_one(StillView)
        still.look_at(still.window.moved(across * 0.25, down * 0.25))

    def action_frame_next(self) -> None:
        """Go to the next frame."""
        self._go(1)

    def action_frame_before(self) -> None:
        """Go to the frame before."""
        self._go(-1)

    def _go(self, step: int) -> None:
        place = self.place + step
        if not 0 <= place < len(self.cards):
            self.notify(no_further(step))
            return
        self.place = place
        self._open()

    def action_frame_negative(self) -> None:
        """Show negative or positive."""
        if self.opened is not None and self.opened.study is not None and self.opened.positive is None:
            self.notify(f"Frame {self.card.key} has no positive yet: this is its RAW.")
            return
        self._negative = not self._negative
        self._show_picture(keep_window=True)
        self._show_rows()

    def action_sharp_map(self) -> None:
        """Show where the picture is sharp."""
        self._sharp = not self._sharp
        self._show_picture(keep_window=True)
