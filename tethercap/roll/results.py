"""The part of an open roll that has to do with what is made from its pictures."""

import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from tethercap import __version__
from tethercap.errors import RollError
from tethercap.roll import describe
from tethercap.roll.core import FILED_SAFE, POSITIVE_FOLDER, PROOF_FOLDER, RollCore
from tethercap.roll.fixity import file_sha256
from tethercap.roll.lines import Converted, Made, SheetMade
from tethercap.roll.names import FrameId, stem
from tethercap.roll.outcome import FiledTake
from tethercap.roll.room import Room, look_at_room
from tethercap.roll.setup import FrameNotes
from tethercap.roll.store import disk_troubles


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

    def note_positive(
        self,
        frame_id: FrameId | str,
        take: int,
        positive: Path,
        proof: Path | None = None,
        *,
        recipe: str = "",
        steps: Any = None,
        base: Any = None,
        warnings: tuple[str, ...] = (),
        positive_sha256: str = "",
        proof_sha256: str = "",
        picture_sha256: str = "",
    ) -> None:
        """Note that a positive was made of a take, and how.

        Parameters
        ----------
        positive, proof : Path
            Inside the roll's folder, whole and on the disk.
        steps, base
            Anything that JSON can hold: each step with its parameters, the film base that was used.
        positive_sha256, proof_sha256 : str, optional
            Hex, where the one who wrote the files knows them; otherwise the files are read.
        picture_sha256 : str, optional
            Of the picture it was made of, hex: if that got another number meanwhile, so do these files.

        Raises
        ------
        RollError
            If a file lies outside the roll, or there is no such take any more.
        StorageError
        """
        core, frame = self._core, FrameId.parse(frame_id)
        with disk_troubles(f"noting the positive of frame {frame}", safe=FILED_SAFE):
            positive_sha256 = positive_sha256 or file_sha256(positive)
            if proof is not None:
                proof_sha256 = proof_sha256 or file_sha256(proof)
            with core.guard:
                if picture_sha256:
                    frame, take, positive, proof = self._under_its_number(picture_sha256, frame, take, positive, proof)
                core.say(
                    Converted(
                        frame=str(frame),
                        take=take,
                        positive=core.relative(positive),
                        proof=core.relative(proof) if proof is not None else "",
                        positive_sha256=positive_sha256,
                        proof_sha256=proof_sha256,
                        recipe=recipe,
                        steps=steps,
                        base=base,
                        warnings=warnings,
                        software=f"tethercap {__version__}",
                    )
                )
                core.write_manifest()

    def _under_its_number(
        self, picture_sha256: str, frame: FrameId, take: int, positive: Path, proof: Path | None
    ) -> tuple[FrameId, int, Path, Path | None]:
        """Give what was made of a picture the number that the picture has by now."""
        core = self._core
        now = next((record for record in core.state.takes() if record.filed.sha256 == picture_sha256), None)
        if now is None:
            raise RollError(f"{positive.name} was made of a picture that is not in the roll any more.", safe=FILED_SAFE)
        frame_now = FrameId.parse(now.filed.frame)
        if (frame_now, now.number) == (frame, take):
            return frame, take, positive, proof
        renamed = self.positive_path(frame_now, now.number, positive.suffix)
        core.layer.rename_new(positive, renamed)
        if proof is not None:
            proof_renamed = self.proof_path(frame_now, now.number)
            core.layer.rename_new(proof, proof_renamed)
            proof = proof_renamed
        return frame_now, now.number, renamed, proof

    def waiting_path(self, path: Path) -> Path:
        """Name under which a result is written before it takes the place of the one that is at `path`."""
        return path.with_name(f".{path.name}.{os.getpid()}.part")

    def put_positive(
        self,
        frame_id: FrameId | str,
        take: int,
        waiting_positive: Path,
        waiting_proof: Path | None = None,
        *,
        positive_sha256: str,
        proof_sha256: str = "",
        **told: Any,
    ) -> None:
        """Put a positive that waits under its `waiting_path` in the place of the one that is there, and note it.

        The record says so first: a run that is cut off between the two is made good when the roll is opened.

        Parameters
        ----------
        waiting_positive, waiting_proof : Path
            Whole and on the disk; the names end up at `positive_path` and `proof_path`.
        positive_sha256, proof_sha256 : str
            Hex, of the waiting files.
        **told
            Recipe, steps, base and warnings, as in `note_positive`.

        Raises
        ------
        RollError
            If a file lies outside the roll.
        StorageError
        """
        core, frame = self._core, FrameId.parse(frame_id)
        positive, proof = self.positive_path(frame, take), self.proof_path(frame, take)
        with disk_troubles(f"putting the positive of frame {frame} in its place", safe=FILED_SAFE), core.guard:
            converted = Converted(
                frame=str(frame),
                take=take,
                positive=core.relative(positive),
                proof=core.relative(proof) if waiting_proof is not None else "",
                positive_sha256=positive_sha256,
                proof_sha256=proof_sha256,
                software=f"tethercap {__version__}",
                **told,
            )
            moves = [(waiting_positive, positive), *([(waiting_proof, proof)] if waiting_proof is not None else [])]
            for waiting, _ in moves:
                core.layer.sync_folder(waiting.parent)
            core.say(converted)
            for waiting, place in moves:
                core.layer.replace(waiting, place)
                core.layer.sync_folder(place.parent)
            core.write_manifest()

    def made_path(self, frame_id: FrameId | str, take: int, what: str, suffix: str) -> Path:
        """Where a further file made of a take belongs, in a folder that is named by what it is."""
        folder = self._core.make_folder(what)
        return folder / (stem(self._core.state.setup.id, FrameId.parse(frame_id), take) + suffix)

    def put_made(self, frame_id: FrameId | str, take: int, waiting: Path, what: str, *, sha256: str) -> Path:
        """Put a further file that waits under its `waiting_path` in its place, and note it; return where it is.

        The record says so first, as with `put_positive`.

        Parameters
        ----------
        waiting : Path
            Whole and on the disk, beside the name that `made_path` gave.
        what : str
            As given to `made_path`.
        sha256 : str
            Hex, of the waiting file.

        Raises
        ------
        RollError
            If the file lies outside the roll.
        StorageError
        """
        core, frame = self._core, FrameId.parse(frame_id)
        place = waiting.with_name(waiting.name[1:].rsplit(".", 2)[0])
        with disk_troubles(f"putting {what} of frame {frame} in its place", safe=FILED_SAFE), core.guard:
            core.layer.sync_folder(waiting.parent)
            core.say(Made(frame=str(frame), take=take, file=core.relative(place), sha256=sha256, what=what))
            core.layer.replace(waiting, place)
            core.layer.sync_folder(place.parent)
            core.write_manifest()
        return place

    def note_sheet(self, sheet: Path) -> None:
        """Note that the contact sheet was written.

        Raises
        ------
        RollError
            If it lies outside the roll.
        StorageError
        """
        with disk_troubles("noting the contact sheet", safe=FILED_SAFE), self._core.guard:
            self._core.say(SheetMade(file=self._core.relative(sheet), sha256=file_sha256(sheet)))
            self._core.write_manifest()

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
