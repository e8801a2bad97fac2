"""What a terminal can do, read from its answers. Pure: text in, facts out.

The questions go out together and end with the one that every terminal answers (primary device attributes), so its
answer says that no other will come.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from tethercap.geometry import SizePx


class NoticeWay(StrEnum):
    """How a terminal may be asked to show a notice on the desktop."""

    NONE = "none"
    OSC_99 = "osc 99"
    """Asked and answered: kitty's desktop notifications."""
    OSC_777 = "osc 777"
    """By the terminal's name; title and text."""
    OSC_9 = "osc 9"
    """By the terminal's name; text alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Talents:
    """What a terminal answered; everything is False or None where it was not asked or said nothing."""

    answered: bool = False
    kitty: bool = False
    """It takes pixels by the kitty graphics protocol."""
    kitty_shared: bool = False
    """It could read a picture from this machine's shared memory."""
    sixel: bool = False
    cell_px: SizePx | None = None
    """Size of a cell."""
    sixel_limit_px: SizePx | None = None
    """Largest Sixel picture."""
    notices: NoticeWay = NoticeWay.NONE


DIRECT_ID, SHARED_ID = 4301, 4302
"""Ids of the two pictures with which the kitty protocol is tried."""
LAST_ANSWER = re.compile(rb"\x1b\[\?[\d;]*c")
"""Primary device attributes (ECMA-48, DA): asked last, answered by every terminal."""
_KITTY = re.compile(rb"\x1b_Gi=(\d+)[^;]*;OK\x1b\\")
_CELL = re.compile(rb"\x1b\[6;(\d+);(\d+)t")
_SIXEL_LIMIT = re.compile(rb"\x1b\[\?2;0;(\d+);(\d+)S")
_NOTICES = re.compile(rb"\x1b\]99;[^;\x07\x1b]*p=\?[^;]*;[^\x07\x1b]*(?:\x07|\x1b\\)")
_BY_NAME: dict[str, NoticeWay] = {
    "iTerm.app": NoticeWay.OSC_9,
    "WezTerm": NoticeWay.OSC_777,
    "ghostty": NoticeWay.OSC_777,
    "foot": NoticeWay.OSC_777,
    "rxvt-unicode": NoticeWay.OSC_777,
}
"""Terminals that show notices but cannot be asked whether; by TERM_PROGRAM or the beginning of TERM. From memory."""


def questions(shared_name: str | None) -> str:
    """Everything that is asked, in one piece.

    Parameters
    ----------
    shared_name : str or None
        Base64 of the name of a shared memory of three bytes, for the kitty protocol to try; None does not try.
    """
    asked = [f"\x1b_Gi={DIRECT_ID},s=1,v=1,a=q,t=d,f=24;AAAA\x1b\\"]
    if shared_name is not None:
        asked.append(f"\x1b_Gi={SHARED_ID},s=1,v=1,a=q,t=s,f=24;{shared_name}\x1b\\")
    return "".join([*asked, "\x1b]99;i=tethercap:p=?;\x1b\\", "\x1b[16t", "\x1b[?2;1;0S", "\x1b[c"])


def read_answers(answers: bytes, *, terminal_names: tuple[str, ...] = ()) -> Talents:
    """Understand what came back.

    Parameters
    ----------
    answers : bytes
        Everything the terminal sent; may hold keys that were pressed meanwhile.
    terminal_names : tuple of str
        What the environment calls the terminal, for what cannot be asked.
    """
    accepted = {int(match) for match in _KITTY.findall(answers)}
    attributes = LAST_ANSWER.search(answers)
    features = attributes.group(0)[3:-1].split(b";")[1:] if attributes is not None else []
    asked = NoticeWay.OSC_99 if _NOTICES.search(answers) else None
    by_name = (way for start, way in _BY_NAME.items() for name in terminal_names if name.startswith(start))
    return Talents(
        answered=attributes is not None,
        kitty=DIRECT_ID in accepted,
        kitty_shared=SHARED_ID in accepted,
        sixel=b"4" in features,
        cell_px=_size(_CELL, answers, height_first=True),
        sixel_limit_px=_size(_SIXEL_LIMIT, answers, height_first=False),
        notices=asked or next(by_name, NoticeWay.NONE),
    )


def _size(pattern: re.Pattern[bytes], answers: bytes, *, height_first: bool) -> SizePx | None:
    match = pattern.search(answers)
    if match is None:
        return None
    first, second = int(match.group(1)), int(match.group(2))
    width, height = (second, first) if height_first else (first, second)
    return SizePx(width, height) if width > 0 and height > 0 else None


def notice_text(way: NoticeWay, title: str, body: str) -> str:
    """Escape text that shows a notice; nothing where the terminal has none. Control characters are taken out."""
    title, body = (
        "".join(character for character in text if character.isprintable()).replace(";", ",") for text in (title, body)
    )
    match way:
        case NoticeWay.OSC_99:
            return f"\x1b]99;i=tethercap:d=0;{title}\x1b\\\x1b]99;i=tethercap:p=body;{body}\x1b\\"
        case NoticeWay.OSC_777:
            return f"\x1b]777;notify;{title};{body}\x1b\\"
        case NoticeWay.OSC_9:
            return f"\x1b]9;{title}: {body}\x1b\\"
        case _:
            return ""
