"""Names on disk: frame numbers as printed on film edges, roll ids, file names made of both.

Nothing that comes from outside (a camera, a profile, a person) becomes part of a path before it went through here.
"""

import re
from dataclasses import dataclass

from tethercap.errors import RollNameError

_SPECIAL_NUMBERS = {-2: "S", -1: "00"}
"""Frames before number 0, as edges print them: DX codes 62 (S) and 63 (00), ISO 1007 by way of public readers."""
_LARGEST_NUMBER = 999
_FRAME_TEXT = re.compile(r"(S|0{1,2}|0{0,2}[1-9]|0?[1-9]\d|[1-9]\d\d)(A?)", re.ASCII)
_ROLL_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*", re.ASCII)
_LONGEST_ROLL_ID = 60
"""Leaves room for frame, take, suffix and a temporary mark within 143 bytes, the tightest limit in common use."""
_RESERVED = frozenset({"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10))})
"""Device names that Windows refuses as file names, with or without a suffix."""
_SUFFIX = re.compile(r"\.[a-z0-9]{1,5}", re.ASCII)
_PATH = re.compile(r"(?:[a-z]+/)?\.?[A-Za-z0-9][A-Za-z0-9._-]*", re.ASCII)
_LONGEST_PATH = 200
_OWN_SUFFIXES = frozenset({".xmp", ".part", ".whole"})


@dataclass(frozen=True, slots=True, order=True)
class FrameId:
    """A frame's number as film edges print it: S, 00, 0, 1, 1A, 2 ... 36, 36A.

    Frames sort in the order in which they lie on the film.
    """

    number: int
    """-2 stands for S, -1 for 00."""
    is_half: bool = False
    """True for the numbers with an A, half a frame further on."""

    def __post_init__(self) -> None:
        """Refuse numbers that no edge carries."""
        if not min(_SPECIAL_NUMBERS) <= self.number <= _LARGEST_NUMBER:
            raise RollNameError(
                f"There is no frame number {'below S' if self.number < 0 else f'above {_LARGEST_NUMBER}'}.",
                todo="Say which number comes next.",
            )

    @classmethod
    def parse(cls, text: "str | int | FrameId") -> "FrameId":
        """Read a number as a person types it; leading zeros and a small a are welcome.

        Parameters
        ----------
        text : str, int or FrameId
            "7", "07", 7 and "007" are the same frame; "0" and "00" are two.

        Raises
        ------
        RollNameError
        """
        if isinstance(text, FrameId):
            return text
        match = _FRAME_TEXT.fullmatch(str(text).strip().upper())
        if match is None:
            raise RollNameError(
                f"{str(text)[:40]!r} is not a frame number.", todo="Frames are numbered 00, 0, 1, 1A, 2 ... 36, 36A."
            )
        digits, half = match.groups()
        number = next((number for number, label in _SPECIAL_NUMBERS.items() if label == digits), None)
        return cls(int(digits) if number is None else number, bool(half))

    def __str__(self) -> str:
        return _SPECIAL_NUMBERS.get(self.number, str(self.number)) + ("A" if self.is_half else "")

    @property
    def file_part(self) -> str:
        """The number in file names: two digits, so that names sort; "0" stays "0", since "00" is another frame."""
        label = str(self.number).zfill(2) if self.number > 0 else str(FrameId(self.number))
        return label + ("A" if self.is_half else "")

    @property
    def second(self) -> "FrameId":
        """Number of the second frame where two are in one shot: 7A beside 7, and 8 beside 7A."""
        return self.next(1, by_halves=True)

    def next(self, step: int = 1, *, by_halves: bool = False) -> "FrameId":
        """Go on along the film by `step` frames, backwards where it is negative.

        Parameters
        ----------
        by_halves : bool
            Count 1, 1A, 2, 2A ... as half-frame cameras need; otherwise 1A is followed by 2A, as on a film whose
            pictures lie between the printed numbers.

        Raises
        ------
        RollNameError
            If there is no such number.
        """
        if not by_halves:
            return FrameId(self.number + step, self.is_half)
        number, half = divmod(2 * self.number + self.is_half + step, 2)
        return FrameId(number, bool(half))


def parse_frame_range(text: str) -> tuple[FrameId, FrameId]:
    """Read "7" or "7-12" as first and last frame.

    Raises
    ------
    RollNameError
        If it is neither, or runs backwards.
    """
    first_text, dash, last_text = text.partition("-")
    first = FrameId.parse(first_text)
    last = FrameId.parse(last_text) if dash else first
    if last < first:
        raise RollNameError(f"The frames {text!r} run backwards.", todo=f"Write {last}-{first}.")
    return first, last


def check_roll_id(text: str) -> str:
    """Return `text` if it may name a roll on every file system.

    Raises
    ------
    RollNameError
        If it has characters outside letters, digits, dot, hyphen and underscore (the portable file name set of
        POSIX.1-2017, 3.282), is too long, or is a name that some system reserves.
    """
    trouble = ""
    if _ROLL_ID.fullmatch(text) is None:
        trouble = "may hold only letters A-Z, digits, dot, hyphen and underscore, and begins with a letter or digit"
    elif text.endswith("."):
        trouble = "may not end with a dot"
    elif len(text) > _LONGEST_ROLL_ID:
        trouble = f"may be {_LONGEST_ROLL_ID} characters long, and has {len(text)}"
    elif text.partition(".")[0].upper() in _RESERVED:
        trouble = "may not be a name that some systems keep for devices"
    if trouble:
        raise RollNameError(f"A roll's id {trouble}: {text[:80]!r}.", todo="Choose another id, like 2024-017.")
    return text


def check_suffix(text: str) -> str:
    """Return a picture's suffix in small letters, if it is one.

    Raises
    ------
    RollNameError
        If it is not a dot and one to five letters or digits, or one that the roll uses itself.
    """
    suffix = text.lower()
    if _SUFFIX.fullmatch(suffix) is None or suffix in _OWN_SUFFIXES:
        raise RollNameError(
            f"{text[:40]!r} cannot end a picture's file name.", safe="The picture is still on the card."
        )
    return suffix


def check_path(text: str) -> str:
    """Return a path inside a roll's folder, as its record writes it, if it is one.

    Raises
    ------
    RollNameError
        If it could lead anywhere but to a file in the folder itself or in one folder below it.
    """
    if _PATH.fullmatch(text) is None or len(text) > _LONGEST_PATH:
        raise RollNameError(f"{text[:80]!r} is not a file of a roll.")
    return text


def stem(roll_id: str, frame_id: FrameId, take: int = 1) -> str:
    """File name without suffix: ``ROLL_07``, retakes ``ROLL_07_t2``."""
    return f"{roll_id}_{frame_id.file_part}" + (f"_t{take}" if take > 1 else "")


def parse_stem(roll_id: str, text: str) -> tuple[FrameId, int] | None:
    """Frame and take that a file name without suffix stands for; None where the roll would not have given that name."""
    if not text.startswith(f"{roll_id}_"):
        return None
    frame_text, separator, take_text = text[len(roll_id) + 1 :].partition("_t")
    if separator and not (take_text.isascii() and take_text.isdecimal() and len(take_text) <= 4):
        return None
    try:
        frame_id = FrameId.parse(frame_text)
    except RollNameError:
        return None
    take = int(take_text) if separator else 1
    return (frame_id, take) if stem(roll_id, frame_id, take) == text else None
