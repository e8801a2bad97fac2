"""Read a roll's proofs and write its contact sheet."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tethercap.convert.sheet import SheetFrame, lay_out_sheet
from tethercap.errors import UnreadablePictureError
from tethercap.image_files.jpeg import decode_jpeg, write_jpeg
from tethercap.pictures import U8Array


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """A frame of the sheet, its picture still on the disk."""

    number: str
    proof: Path | None
    note: str = ""
    picked: bool = False


def write_sheet(
    path: Path,
    entries: Sequence[SheetEntry],
    *,
    title: str,
    subtitle: str = "",
    per_strip: int = 6,
    frame_width_px: int = 480,
) -> None:
    """Write a contact sheet as JPEG.

    A proof that cannot be read is shown as an empty frame with a note; the sheet is made all the same.

    Raises
    ------
    StorageError
        If the sheet cannot be written.
    """
    frames = [_read(entry, frame_width_px) for entry in entries]
    sheet = lay_out_sheet(frames, title=title, subtitle=subtitle, per_strip=per_strip, frame_width_px=frame_width_px)
    write_jpeg(path, sheet, quality=92)


def _read(entry: SheetEntry, frame_width_px: int) -> SheetFrame:
    if entry.proof is None:
        return SheetFrame(entry.number, None, entry.note, entry.picked)
    try:
        picture = _decode_near(entry.proof.read_bytes(), frame_width_px)
    except (OSError, UnreadablePictureError):
        return SheetFrame(entry.number, None, "no proof", entry.picked)
    return SheetFrame(entry.number, picture, entry.note, entry.picked)


def _decode_near(jpeg: bytes, frame_width_px: int) -> U8Array:
    # A quarter of a 3,000 px proof is still wider than a frame of the sheet, and decodes many times faster.
    quarter = decode_jpeg(jpeg, reduced=4)
    return quarter if max(quarter.shape[:2]) >= frame_width_px else decode_jpeg(jpeg)
