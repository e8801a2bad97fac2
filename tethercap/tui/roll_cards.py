"""What the roll screen shows of each frame: values made from the roll's record, no widgets."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.state import FrameRecord, FrameStatus, TakeRecord
from tethercap.tui.lines import Line, Role, Span, line, wrap

SIGNS: Mapping[FrameStatus, tuple[str, Role, str]] = {
    FrameStatus.OPEN: ("·", Role.FAINT, "open"),
    FrameStatus.TAKEN: ("■", Role.GOOD, "taken"),
    FrameStatus.FORCED: ("▲", Role.CAUTION, "forced"),
    FrameStatus.HELD: ("!", Role.BAD, "take again"),
    FrameStatus.BLANK: ("○", Role.FAINT, "blank"),
    FrameStatus.SKIPPED: ("–", Role.FAINT, "left out"),
}


class Sieve(StrEnum):
    """Which frames are shown."""

    ALL = "all frames"
    AGAIN = "to take again"
    DOUBTFUL = "with findings"
    UNCONVERTED = "without positive"


@dataclass(frozen=True, slots=True)
class FrameCard:
    """One frame of the roll."""

    frame: FrameRecord
    folder: Path

    @property
    def key(self) -> str:
        """Number of the frame."""
        return str(self.frame.frame_id)

    @property
    def shown_take(self) -> TakeRecord | None:
        """The take that stands for the frame, or the last one where none was good enough."""
        return self.frame.chosen or (self.frame.takes[-1] if self.frame.takes else None)

    @property
    def raw(self) -> Path | None:
        """The RAW of the shown take."""
        take = self.shown_take
        return self.folder / take.filed.file if take is not None else None

    @property
    def proof(self) -> Path | None:
        """The small positive of the shown take."""
        take = self.shown_take
        if take is None or take.converted is None or not take.converted.proof:
            return None
        return self.folder / take.converted.proof

    @property
    def caption(self) -> str:
        """Number, sign, and how many takes where there are several."""
        takes = f" {len(self.frame.takes)} takes" if len(self.frame.takes) > 1 else ""
        return f"{self.key} {SIGNS[self.frame.status][0]}{takes}"


def cards_of(roll: Roll) -> list[FrameCard]:
    """Every frame of the roll in film order: those known, and open ones up to the number expected."""
    known = dict(roll.frames)
    for number in range(1, (roll.setup.frames_expected or 0) + 1):
        frame_id = FrameId(number)
        known.setdefault(frame_id, FrameRecord(frame_id))
    return [FrameCard(known[frame_id], roll.path) for frame_id in sorted(known)]


_PASSES: Mapping[Sieve, Callable[[FrameCard], bool]] = {
    Sieve.ALL: lambda card: True,
    Sieve.AGAIN: lambda card: card.frame.status in (FrameStatus.HELD, FrameStatus.OPEN),
    Sieve.DOUBTFUL: lambda card: card.shown_take is not None and bool(card.shown_take.filed.findings),
    Sieve.UNCONVERTED: lambda card: card.shown_take is not None and card.shown_take.converted is None,
}


def sifted(cards: list[FrameCard], sieve: Sieve) -> list[FrameCard]:
    """Cards that pass."""
    return [card for card in cards if _PASSES[sieve](card)]


def retake_list(cards: list[FrameCard]) -> str:
    """Numbers to take again, as one line of text."""
    return ", ".join(card.key for card in sifted(cards, Sieve.AGAIN)) or "none"


def _pair(label: str, value: str, role: Role = Role.PLAIN) -> Line:
    return line(Span(f" {label:<9}", Role.FAINT), Span(value, role))


def fact_lines(card: FrameCard, width: int) -> list[Line]:
    """Everything known about a frame, for the column beside the pictures."""
    sign, role, word = SIGNS[card.frame.status]
    lines = [line(Span(f" frame {card.key}  ", Role.HEADING), Span(f"{sign} {word}", role)), ()]
    if card.frame.skipped_why:
        lines.append(_pair("why", card.frame.skipped_why))
    take = card.shown_take
    if take is None:
        return [*lines, line(Span(" no picture yet", Role.FAINT))]
    if len(card.frame.takes) > 1:
        shown = "  ".join(f"[{t.number}]" if t.number == take.number else f" {t.number} " for t in card.frame.takes)
        lines.append(_pair("takes", shown))
    lines += _shot_lines(take)
    lines += _place_lines(take)
    if take.filed.findings or take.filed.reasons:
        lines.append(())
        for text in (*take.filed.findings, *take.filed.reasons):
            lines += [
                line(Span(" ! " if not n else "   ", Role.CAUTION), part)
                for n, part in enumerate(wrap(_words(text), max(12, width - 4)))
            ]
    return [*lines, (), *_file_lines(take)]


def _words(text: object) -> str:
    code, said = getattr(text, "code", ""), getattr(text, "text", "")
    return said or code or str(text)


def _shot_lines(take: TakeRecord) -> list[Line]:
    filed, shot = take.filed, take.filed.shot
    lines = []
    if shot is not None:
        time = f"1/{round(1 / shot.exposure_s)} s" if shot.exposure_s and shot.exposure_s < 0.3 else ""
        time = time or (f"{shot.exposure_s:g} s" if shot.exposure_s else "")
        parts = [time, f"f/{shot.f_number:g}" if shot.f_number else "", f"ISO {shot.iso}" if shot.iso else ""]
        lines.append(_pair("shot", "  ".join(part for part in parts if part)))
    if filed.fired_by:
        lines.append(_pair("fired", filed.fired_by + (", forced" if filed.forced else "")))
    if filed.taken_at:
        lines.append(_pair("taken", filed.taken_at[:19].replace("T", " ")))
    return lines


def _place_lines(take: TakeRecord) -> list[Line]:
    filed = take.filed
    lines = []
    if filed.offset_mm is not None:
        along_mm, across_mm = filed.offset_mm
        lines += [_pair("along", f"{along_mm:+.2f} mm"), _pair("across", f"{across_mm:+.2f} mm")]
    if filed.tilt_deg is not None:
        lines.append(_pair("tilt", f"{filed.tilt_deg:+.2f}°"))
    if filed.mm_per_px:
        lines.append(_pair("scale", f"{25.4 / filed.mm_per_px:.0f} px per inch"))
    return lines


def _file_lines(take: TakeRecord) -> list[Line]:
    lines = [_pair("file", Path(take.filed.file).name), _pair("size", f"{take.filed.size_bytes / 1e6:.1f} MB")]
    lines.append(_pair("sha-256", take.filed.sha256[:16] + "…"))
    if take.converted is not None:
        lines.append(_pair("positive", Path(take.converted.positive).name, Role.GOOD))
        lines += [line(Span(" ! ", Role.CAUTION), text) for text in take.converted.warnings]
    else:
        lines.append(_pair("positive", "not made yet", Role.FAINT))
    return lines
