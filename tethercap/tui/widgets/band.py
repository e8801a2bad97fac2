"""The verdict band: one word over the whole width, coloured, with the way the film must go."""

from tethercap.tui.big_letters import big_rows
from tethercap.tui.hints import Hint, Tone
from tethercap.tui.lines import Line, Role, Span, fit, wrap
from tethercap.tui.widgets.rows import Rows

SIGNS: dict[Tone, str] = {
    Tone.READY: "●",
    Tone.HOLD: "‖",
    Tone.UNSURE: "?",
    Tone.QUIET: "▭",
    Tone.EXPOSING: "○",
    Tone.BUSY: "↓",
    Tone.DONE: "✓",
    Tone.TROUBLE: "!",
}
"""One sign a tone, so that colour is never alone."""

_SIGNS_OF_WORDS = {"MOVING": "»", "BLANK": "▭"}


def band_scale(width: int, height: int) -> int:
    """How large the word can be."""
    return 2 if height >= 7 and width >= 150 else 1


def band_lines(hint: Hint, width: int, height: int) -> list[Line]:
    """Draw sign, word and amount; the amount goes to the right end, and is left out where it does not fit."""
    scale = band_scale(width, height)
    sign = _SIGNS_OF_WORDS.get(hint.word) or SIGNS[hint.tone]
    left = big_rows(f"{sign} {hint.word}", scale, height)
    right = big_rows(hint.amount, scale, height) if hint.amount else [""] * len(left)
    if len(left[0]) + len(right[0]) + 5 * scale > width:
        left = big_rows(hint.word, scale, height)
    if len(left[0]) + len(right[0]) + 3 * scale > width:
        right = [""] * len(left)
    rows: list[Line] = []
    for left_row, right_row in zip(left, right, strict=True):
        gap = max(1, width - 2 * scale - len(left_row) - len(right_row))
        rows.append((Span(" " * scale), Span(left_row), Span(" " * gap), Span(right_row)))
    return rows[:height]


def sentence_lines(hint: Hint, width: int, height: int) -> list[Line]:
    """The hint's words under the band: its parts on lines of their own where they fit, else run on."""
    room = max(10, width - 2)
    parts = [text for part in hint.sentence.split("\n") for text in wrap(part, room)]
    if len(parts) > height:
        parts = wrap(hint.sentence.replace("\n", " "), room)
    if len(parts) > height:
        parts = [*parts[: height - 1], fit((Span(" ".join(parts[height - 1 :])),), room)[0].text] if height else []
    return [(Span(f" {text}", Role.STRONG),) for text in parts]


class Band(Rows):
    """Shows a hint; its class `-tone-<tone>` chooses the colour."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.hint: Hint | None = None

    def show_hint(self, hint: Hint) -> None:
        """Show a hint."""
        if self.hint is None or self.hint.tone is not hint.tone:
            for tone in Tone:
                self.set_class(tone is hint.tone, f"-tone-{tone.value}")
        self.hint = hint
        self.show(band_lines(hint, self.size.width, self.size.height))
