"""What a person says about a roll: the contents of roll.toml, as values."""

import re
from typing import Annotated, Literal

import msgspec

from tethercap.errors import RollNameError
from tethercap.film.kinds import FilmKind
from tethercap.roll.names import FrameId, check_roll_id, parse_frame_range

SCHEMA = 1
"""Version of roll.toml's fields."""

_DATE = re.compile(
    r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01])(T([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)?)?)?)?",
    re.ASCII,
)
"""Dates as far as they are known: the forms of XMP part 1, 8.2.1.1, a profile of ISO 8601."""
_HALF_FRAME_FORMATS = frozenset({"135-18x24"})

Text = Annotated[str, msgspec.Meta(max_length=4000)]
_Count = Annotated[int, msgspec.Meta(ge=1, le=999)]


def check_date(text: str) -> str:
    """Return `text` if it is a date known to the year, month, day or minute; "" stands for not known.

    Raises
    ------
    ValueError
    """
    if text and _DATE.fullmatch(text) is None:
        raise ValueError(f"{text[:40]!r} is not a date like 1998, 1998-07 or 1998-07-12")
    return text


class FrameNotes(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is known about some frames of the roll; what is left empty follows the roll."""

    which: str | int
    """One frame or a range: "7", "7-12"."""
    taken_on: str = ""
    """When the film was exposed, as far as known: 1998, 1998-07, 1998-07-12."""
    place: Text = ""
    title: Text = ""
    caption: Text = ""
    keywords: tuple[Text, ...] = ()
    """Added to the roll's own."""
    notes: Text = ""

    def __post_init__(self) -> None:
        """Refuse ranges and dates that cannot be meant."""
        try:
            parse_frame_range(str(self.which))
        except RollNameError as error:
            raise ValueError(str(error)) from None
        check_date(self.taken_on)

    def covers(self, frame_id: FrameId) -> bool:
        """Whether these notes speak of the frame."""
        first, last = parse_frame_range(str(self.which))
        return first <= frame_id <= last


class RollSetup(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A roll as its roll.toml describes it."""

    schema: Literal[1] = 1
    id: str
    """Begins every file name of the roll."""
    film_kind: FilmKind
    film_format: str
    """Id of a film format profile."""
    film_stock: Text = ""
    """As printed on the edge or the canister."""
    film_speed_iso: Annotated[int, msgspec.Meta(ge=1, le=409600)] | None = None
    """Speed the film was exposed for."""
    rig: Text = ""
    """Id of a rig profile."""
    first_frame: str | int = "1"
    frames_expected: _Count | None = None
    numbers_run: Literal[1, -1] = 1
    """1 where numbers rise from frame to frame as the film is pulled, -1 where they fall."""
    mirrored: bool = False
    """The film lies the other way up: pictures and edge letters come out mirrored."""
    count_halves: bool | None = None
    """Number frames 1, 1A, 2, 2A ...; not given, this follows from the film format."""
    creator: Text = ""
    rights: Text = ""
    title: Text = ""
    caption: Text = ""
    keywords: tuple[Text, ...] = ()
    place: Text = ""
    taken_on: str = ""
    """When the film was exposed, as far as known: 1998, 1998-07, 1998-07-12."""
    developed_on: str = ""
    original_camera: Text = ""
    original_lens: Text = ""
    copy_lens: Text = ""
    """The lens in front of the film now, for lenses that do not tell the camera their name."""
    notes: Text = ""
    frames: tuple[FrameNotes, ...] = ()
    """Later entries add to earlier ones and win over them."""

    def __post_init__(self) -> None:
        """Refuse what cannot be meant: RollNameError for the id and the first frame, ValueError for dates."""
        check_roll_id(self.id)
        msgspec.structs.force_setattr(self, "first_frame", str(FrameId.parse(self.first_frame)))
        check_date(self.taken_on)
        check_date(self.developed_on)

    @property
    def first(self) -> FrameId:
        """Number of the first frame to be taken."""
        return FrameId.parse(self.first_frame)

    @property
    def by_halves(self) -> bool:
        """Whether numbers count 1, 1A, 2, 2A."""
        return self.film_format in _HALF_FRAME_FORMATS if self.count_halves is None else self.count_halves

    def notes_for(self, frame_id: FrameId) -> FrameNotes:
        """Everything said about one frame, the roll's own words where the frame has none."""
        merged = {name: getattr(self, name) for name in ("taken_on", "place", "title", "caption", "notes")}
        keywords = list(self.keywords)
        for notes in self.frames:
            if notes.covers(frame_id):
                merged |= {name: text for name in merged if (text := getattr(notes, name))}
                keywords += notes.keywords
        return FrameNotes(which=str(frame_id), keywords=tuple(dict.fromkeys(keywords)), **merged)
