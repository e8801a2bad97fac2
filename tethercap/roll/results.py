"""The part of an open roll that has to do with what is made from its pictures."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tethercap import __version__
from tethercap.errors import RollError
from tethercap.roll import describe
from tethercap.roll.core import EDITED_FOLDER, FILED_SAFE, POSITIVE_FOLDER, PROOF_FOLDER, RollCore
from tethercap.roll.fixity import file_sha256
from tethercap.roll.lines import Converted, Made, SetAside, SheetMade
from tethercap.roll.names import FrameId, stem
from tethercap.roll.outcome import FiledTake
from tethercap.roll.room import Room, look_at_room
from tethercap.roll.setup import FrameNotes
from tethercap.roll.state import find_picture
from tethercap.roll.store import disk_troubles, free_name, place_of, waiting_path

_CHANGED = "changed by another program"


@dataclass(frozen=True, slots=True)
class Placed:
    """Results that are in their place."""

    files: tuple[Path, ...]
    kept: tuple[Path, ...] = ()
    """Where those that a person or another program had changed are kept now."""

    @property
    def kept_words(self) -> tuple[str, ...]:
        """A sentence for each that was kept."""
        return tuple(
            f"What was there had been changed since it was made; it is kept as {path.parent.name}/{path.name}."
            for path in self.kept
        )


class RollResults:
    """Positives, proofs and the contact sheet; base of `tethercap.roll.folder.Roll`."""

    _core: RollCore
    path: Path

    def positive_path(self, frame_id: FrameId | str, take: int, suffix: str = ".tif") -> Path:
        """Where the positive of a take belongs."""
        return self.path / POSITIVE_FOLDER / (stem(self._core.state.setup.id, FrameId.parse(frame_id), take) + suffix)

    def proof_path(self, frame_id: FrameId | str, take: int) -> Path:
        """Where the proof of a take belongs, a small JPEG."""
        return self.path / PROOF_FOLDER / (stem(self._core.state.setup.id, FrameId.parse(frame_id), take) + ".jpg")

    @property
    def sheet_path(self) -> Path:
        """Where the contact sheet belongs."""
        return self.path / f"{self._core.state.setup.id}_contact.jpg"

    def has_picture(self, sha256: str) -> bool:
        """Whether the very same picture is in the roll already."""
        with self._core.guard:
            return any(take.filed.sha256 == sha256 for take in self._core.state.takes())

    def waiting_path(self, path: Path) -> Path:
        """Name under which a result is written before it takes the place of the one that is at `path`."""
        return waiting_path(path)

    def put_positive(
        self,
        frame_id: FrameId | str,
        take: int,
        waiting_positive: Path,
        waiting_proof: Path | None = None,
        *,
        positive_sha256: str,
        proof_sha256: str = "",
        picture_sha256: str = "",
        is_second: bool = False,
        **told: Any,
    ) -> Placed:
        """Put a positive that waits under its `waiting_path` in the place of the one that is there, and note it.

        The record says so first: a run that is cut off between the two is made good when the roll is opened. What is
        there and was changed by a person or another program is kept under another name, in the folder edited/.

        Parameters
        ----------
        frame_id, take
            What it was made of.
        waiting_positive, waiting_proof : Path
            Whole and on the disk; they end up at `positive_path` and `proof_path`.
        positive_sha256, proof_sha256 : str
            Hex, of the waiting files.
        picture_sha256 : str, optional
            Of the picture it was made of, hex: if that got another number meanwhile, so do these files.
        is_second : bool
            It is the second frame's, where two are in the shot: it gets the number after the frame's.
        **told
            Recipe, steps, base, warnings and takes, as in `lines.Converted`; anything that JSON can hold.

        Raises
        ------
        RollError
            If the picture is not in the roll any more.
        StorageError
        """
        core, frame = self._core, FrameId.parse(frame_id)
        with disk_troubles(f"putting the positive of frame {frame} in its place", safe=FILED_SAFE), core.guard:
            frame, take = self._now(frame, take, picture_sha256)
            number = frame.second if is_second else frame
            moves = {waiting_positive: self.positive_path(number, take, place_of(waiting_positive).suffix)}
            if waiting_proof is not None:
                moves[waiting_proof] = self.proof_path(number, take)
            converted = Converted(
                frame=str(frame),
                take=take,
                positive=core.relative(moves[waiting_positive]),
                proof=core.relative(moves[waiting_proof]) if waiting_proof is not None else "",
                positive_sha256=positive_sha256,
                proof_sha256=proof_sha256,
                second=is_second,
                software=f"tethercap {__version__}",
                **told,
            )
            kept = [self._keep_changed(place, frame, take, is_second=is_second) for place in moves.values()]
            self._put(moves, converted)
        return Placed(tuple(moves.values()), tuple(filter(None, kept)))

    def made_path(self, frame_id: FrameId | str, take: int, what: str, suffix: str) -> Path:
        """Where a further file made of a take belongs, in a folder that is named by what it is."""
        folder = self._core.make_folder(what)
        return folder / (stem(self._core.state.setup.id, FrameId.parse(frame_id), take) + suffix)

    def put_made(
        self,
        frame_id: FrameId | str,
        take: int,
        waiting: Path,
        what: str,
        *,
        sha256: str,
        picture_sha256: str = "",
        is_second: bool = False,
    ) -> Placed:
        """Put a further file that waits under its `waiting_path` in its place, and note it, as `put_positive` does.

        Parameters
        ----------
        waiting : Path
            Whole and on the disk, beside the name that `made_path` gave.
        what : str
            As given to `made_path`.
        sha256 : str
            Hex, of the waiting file.
        picture_sha256, is_second
            As in `put_positive`.

        Raises
        ------
        RollError
            If the picture is not in the roll any more.
        StorageError
        """
        core, frame = self._core, FrameId.parse(frame_id)
        with disk_troubles(f"putting {what} of frame {frame} in its place", safe=FILED_SAFE), core.guard:
            frame, take = self._now(frame, take, picture_sha256)
            place = self.made_path(frame.second if is_second else frame, take, what, place_of(waiting).suffix)
            file = core.relative(place)
            made = Made(frame=str(frame), take=take, file=file, sha256=sha256, second=is_second, what=what)
            kept = self._keep_changed(place, frame, take, is_second=is_second)
            self._put({waiting: place}, made)
        return Placed((place,), (kept,) if kept is not None else ())

    def put_sheet(self, waiting: Path, place: Path) -> Placed:
        """Put a contact sheet that waits under its `waiting_path` in its place, and note it, as `put_positive` does.

        Raises
        ------
        RollError
            If it lies outside the roll.
        StorageError
        """
        core = self._core
        with disk_troubles("putting the contact sheet in its place", safe=FILED_SAFE), core.guard:
            sheet = SheetMade(file=core.relative(place), sha256=file_sha256(waiting))
            kept = self._keep_changed(place)
            self._put({waiting: place}, sheet)
        return Placed((place,), (kept,) if kept is not None else ())

    def _now(self, frame: FrameId, take: int, picture_sha256: str) -> tuple[FrameId, int]:
        """Number and take that a picture has by now."""
        if not picture_sha256:
            return frame, take
        now = find_picture(self._core.state.frames, picture_sha256, frame, take)
        if now is None:
            raise RollError(f"The picture of frame {frame}, take {take}, is not in the roll any more.", safe=FILED_SAFE)
        return now[0], now[1].number

    def _keep_changed(
        self, place: Path, frame: FrameId | None = None, take: int = 0, *, is_second: bool = False
    ) -> Path | None:
        """Move a result that is not as the record knows it to edited/: a person may have worked on it."""
        core = self._core
        if not place.exists():
            return None
        was, sha256 = core.relative(place), file_sha256(place)
        if sha256 == core.state.sums.get(was):
            return None
        kept = free_name(core.make_folder(EDITED_FOLDER) / place.name)
        core.layer.rename_new(place, kept)
        core.layer.sync_folder(kept.parent)
        core.layer.sync_folder(place.parent)
        file = core.relative(kept)
        if frame is None:
            core.say(SetAside(file=file, was=was, why=_CHANGED, sha256=sha256, size_bytes=kept.stat().st_size))
        else:
            core.say(
                Made(
                    frame=str(frame), take=take, file=file, was=was, sha256=sha256, second=is_second, what=EDITED_FOLDER
                )
            )
        return kept

    def _put(self, moves: Mapping[Path, Path], line: Converted | Made | SheetMade) -> None:
        """Say what is put where, then give the waiting files their names."""
        core = self._core
        for waiting in moves:
            core.layer.sync_folder(waiting.parent)
        core.say(line)
        for waiting, place in moves.items():
            core.layer.replace(waiting, place)
            core.layer.sync_folder(place.parent)
        core.write_manifest()

    def change_setup(self, changes: Mapping[str, object] = {}, frames: Iterable[FrameNotes] = ()) -> None:
        """Change roll.toml, comments kept, and go on with what it says now. `describe` brings it into the pictures.

        Parameters
        ----------
        changes : mapping
            Field of `RollSetup` -> new value; None takes the field out.
        frames : iterable of FrameNotes
            Added to the notes that are there.

        Raises
        ------
        ProfileError
            If it would not be usable; then nothing is changed.
        StorageError
        """
        describe.change_setup(self._core, changes, frames)

    def describe(
        self, embed: describe.Embedder | None = None, progress: Callable[[], None] = lambda: None
    ) -> describe.DescribeReport:
        """Bring what roll.toml says now into all sidecars, and with `embed` into positives and proofs.

        Parameters
        ----------
        embed : callable, optional
            Writes properties into a picture file in place.
        progress : callable
            Called after each take.

        Raises
        ------
        StorageError
        """
        return describe.write_metadata(self._core, self._core.state.takes(), embed, progress)

    def room(self, raw_bytes: int, frames_wanted: int, *, result_bytes: int = 0) -> Room:
        """Look how many frames still fit on the disk.

        Parameters
        ----------
        raw_bytes : int
            Size of one RAW.
        result_bytes : int
            Size of what is made from one.

        Raises
        ------
        StorageError
        """
        return look_at_room(self.path, raw_bytes, frames_wanted, result_bytes=result_bytes)

    def unfinished_conversions(self) -> tuple[FiledTake, ...]:
        """Give the takes that stand for their frames and have no positive, as they lie on the film."""
        with self._core.guard:
            frames = self._core.state.frames
            chosen = [frames[frame_id].chosen for frame_id in sorted(frames)]
            return tuple(
                FiledTake(
                    self.path / take.filed.file, take.filed.frame, take.number, take.filed.sha256, take.filed.accepted
                )
                for take in chosen
                if take is not None and (take.converted is None or not (self.path / take.converted.positive).exists())
            )
