"""What the start screen shows and gives back: cameras, rolls, the form of a new roll. Values, no widgets."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal, Protocol

from tethercap.camera.base import CameraIdentity
from tethercap.errors import RollNameError, TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import list_film_formats, load_film_format
from tethercap.roll.core import read_folder_setup
from tethercap.roll.names import FrameId, check_roll_id
from tethercap.roll.record import FILE_NAME as RECORD_NAME
from tethercap.roll.record import read_record_file
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import FrameStatus, rebuild
from tethercap.tui.roll_cards import FrameCard


@dataclass(frozen=True, slots=True)
class RollSummary:
    """A roll on disk, as a line of a list."""

    path: Path
    roll_id: str
    film: str
    done: int
    expected: int | None
    held: int
    next_frame: str
    changed_at_s: float
    """Of the record, s since the epoch."""

    @property
    def is_whole(self) -> bool:
        """Nothing is left to take."""
        return self.expected is not None and self.done >= self.expected and not self.held


def find_rolls(folder: Path) -> list[RollSummary]:
    """Rolls in a folder and right below it, the one worked on last first; unreadable ones are left out."""
    found = []
    candidates = [folder, *(sorted(folder.iterdir()) if folder.is_dir() else [])]
    for path in candidates:
        if (path / "roll.toml").is_file():
            summary = summarise(path)
            if summary is not None:
                found.append(summary)
    return sorted(found, key=lambda roll: -roll.changed_at_s)


def summarise(path: Path) -> RollSummary | None:
    """Read a roll without opening it for writing; None where it cannot be read."""
    try:
        setup = read_folder_setup(path)
        state, _ = rebuild(setup, read_record_file(path / RECORD_NAME).lines)
        changed_at_s = (path / RECORD_NAME).stat().st_mtime if (path / RECORD_NAME).exists() else path.stat().st_mtime
        next_frame = str(state.next_frame_id())
    except (TethercapError, OSError):
        return None
    frames = state.frames.values()
    return RollSummary(
        path=path,
        roll_id=setup.id,
        film=setup.film_stock or setup.film_kind.value.replace("-", " "),
        done=sum(frame.is_closed for frame in frames),
        expected=setup.frames_expected,
        held=sum(frame.status is FrameStatus.HELD for frame in frames),
        next_frame=next_frame,
        changed_at_s=changed_at_s,
    )


def peek_cards(path: Path) -> list[FrameCard]:
    """Frames of a roll in film order, read without opening it for writing; none where it cannot be read."""
    try:
        state, _ = rebuild(read_folder_setup(path), read_record_file(path / RECORD_NAME).lines)
    except (TethercapError, OSError):
        return []
    return [FrameCard(state.frames[frame_id], path) for frame_id in sorted(state.frames)]


def when_text(at_s: float, now_s: float) -> str:
    """Say when something was: "just now", "25 min ago", "3 h ago", a date."""
    ago_s = now_s - at_s
    if ago_s < 120:
        return "just now"
    if ago_s < 5400:
        return f"{round(ago_s / 60)} min ago"
    if ago_s < 86400:
        return f"{round(ago_s / 3600)} h ago"
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%d")


class StartServices(Protocol):
    """Where the start screen gets its facts; each call may take long and is made in a thread."""

    def cameras(self) -> list[CameraIdentity]:
        """Cameras that are there.

        Raises
        ------
        CameraError
        """
        ...

    def rolls(self) -> list[RollSummary]:
        """Rolls to go on with."""
        ...


@dataclass(frozen=True, slots=True)
class FoundHere:
    """The real services: the driver, and a folder with rolls."""

    folder: Path
    find_cameras: Callable[[], list[CameraIdentity]]

    def cameras(self) -> list[CameraIdentity]:
        """Ask the driver."""
        return self.find_cameras()

    def rolls(self) -> list[RollSummary]:
        """Look into the folder."""
        return find_rolls(self.folder)


@dataclass(frozen=True, slots=True)
class Choice:
    """What the person wants, for the command line to carry out."""

    what: Literal["capture", "look", "demo"]
    path: Path | None = None
    """Folder of the roll."""
    setup: RollSetup | None = None
    """Of a new roll; None goes on with the one in the folder."""
    port: str | None = None
    """Camera to use; None takes the only one."""


_KINDS = tuple(FilmKind)
SHOWN_KINDS: Mapping[FilmKind, str] = {
    FilmKind.COLOUR_NEGATIVE: "colour negative",
    FilmKind.BW_NEGATIVE: "black-and-white negative",
    FilmKind.SLIDE: "slide",
}


@dataclass(frozen=True, slots=True)
class NewRoll:
    """The form of a new roll."""

    roll_id: str = ""
    format_id: str = "135-36x24"
    kind: FilmKind = FilmKind.COLOUR_NEGATIVE
    film_stock: str = ""
    first_frame: str = "1"
    frames_expected: str = "36"
    numbers_run: Literal[1, -1] = 1
    mirrored: bool = False
    formats: tuple[str, ...] = field(default_factory=lambda: tuple(list_film_formats()))

    def rows(self) -> Sequence[tuple[str, str, str, str]]:
        """Key, label, value and what it means, one a row."""
        named = load_film_format(self.format_id)
        return (
            ("roll_id", "roll", self.roll_id or "–", "begins every file name"),
            ("format_id", "format", f"◂ {named.name} ▸", f"{named.frames_per_strip} frames a strip"),
            ("kind", "film kind", f"◂ {SHOWN_KINDS[self.kind]} ▸", "which way density runs"),
            ("film_stock", "film", self.film_stock or "–", "as printed on its edge, if you like"),
            ("frames_expected", "frames", self.frames_expected or "–", "how many the roll should have"),
            ("first_frame", "first", self.first_frame, "number on the edge of the first frame: 00, 0, 1, 36A"),
            ("numbers_run", "numbers", "◂ rise ▸" if self.numbers_run == 1 else "◂ fall ▸", "as the film is pulled"),
            (
                "mirrored",
                "film lies",
                f"◂ {'mirrored' if self.mirrored else 'the right way'} ▸",
                "as the camera sees it",
            ),
        )

    def stepped(self, key: str, step: int) -> "NewRoll":
        """Give the form with a choice one further."""
        match key:
            case "format_id":
                place = (self.formats.index(self.format_id) + step) % len(self.formats)
                return replace(self, format_id=self.formats[place])
            case "kind":
                return replace(self, kind=_KINDS[(_KINDS.index(self.kind) + step) % len(_KINDS)])
            case "numbers_run":
                return replace(self, numbers_run=-1 if self.numbers_run == 1 else 1)
            case "mirrored":
                return replace(self, mirrored=not self.mirrored)
            case _:
                return self

    def typed(self, key: str, text: str) -> "NewRoll":
        """Give the form with a text.

        Raises
        ------
        RollNameError
            If the text cannot be meant.
        """
        match key:
            case "roll_id":
                return replace(self, roll_id=check_roll_id(text))
            case "film_stock":
                return replace(self, film_stock=text)
            case "first_frame":
                return replace(self, first_frame=str(FrameId.parse(text)))
            case "frames_expected":
                if text and not (text.isdecimal() and 1 <= int(text) <= 999):
                    raise RollNameError(f"{text[:20]!r} is not a number of frames.", todo="Give 1 to 999, or nothing.")
                return replace(self, frames_expected=text)
            case _:
                return self

    def text_of(self, key: str) -> str | None:
        """Text of a field that is typed; None for one that is stepped."""
        if key in {"roll_id", "film_stock", "first_frame", "frames_expected"}:
            return str(getattr(self, key))
        return None

    def setup(self) -> RollSetup:
        """Give the roll's setup.

        Raises
        ------
        RollNameError
            If something is missing.
        """
        return RollSetup(
            id=check_roll_id(self.roll_id),
            film_kind=self.kind,
            film_format=self.format_id,
            film_stock=self.film_stock,
            first_frame=self.first_frame,
            frames_expected=int(self.frames_expected) if self.frames_expected else None,
            numbers_run=self.numbers_run,
            mirrored=self.mirrored,
        )
