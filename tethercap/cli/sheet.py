"""`tethercap sheet`: a roll's contact sheet."""

from pathlib import Path

import click

from tethercap.batch.sheet import SheetEntry, write_sheet
from tethercap.cli.exit_codes import ExitCode
from tethercap.image_files.metadata import xmp_packet
from tethercap.profile_files import load_film_format
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.state import FrameRecord, FrameStatus


@click.command()
@click.argument("roll_path", metavar="ROLL", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--frame-width", type=click.IntRange(120, 3000), default=480, show_default=True, help="Width of a frame, px."
)
@click.option("--per-strip", type=click.IntRange(1, 12), help="Frames side by side.  [default: as the film is cut]")
def sheet(roll_path: Path, frame_width: int, per_strip: int | None) -> ExitCode:
    """Make the contact sheet of a roll from its proofs, in the film's order, with the numbers on its edge."""
    with Roll.open(roll_path, sidecar=xmp_packet) as roll:
        print(make_sheet(roll, frame_width_px=frame_width, per_strip=per_strip))
    return ExitCode.DONE


def make_sheet(roll: Roll, *, frame_width_px: int = 480, per_strip: int | None = None) -> Path:
    """Write the contact sheet of an open roll and note it in the record; return its path.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    film_format = load_film_format(roll.setup.film_format, project=roll.path)
    about = (roll.setup.film_stock, film_format.name, roll.setup.taken_on, roll.setup.creator)
    write_sheet(
        roll.sheet_path,
        [_entry(roll, frame_id, frame) for frame_id, frame in roll.frames.items()],
        title=" ".join(part for part in (roll.setup.id, roll.setup.title) if part),
        subtitle="   ".join(part for part in about if part),
        per_strip=per_strip or film_format.frames_per_strip,
        frame_width_px=frame_width_px,
    )
    roll.note_sheet(roll.sheet_path)
    return roll.sheet_path


def _entry(roll: Roll, frame_id: FrameId, frame: FrameRecord) -> SheetEntry:
    chosen = frame.chosen
    proof = roll.proof_path(frame_id, chosen.number) if chosen is not None else None
    shown = proof if proof is not None and proof.exists() else None
    note = "" if frame.status is FrameStatus.TAKEN else frame.status.value
    if shown is None and chosen is not None:
        note = "not converted"
    return SheetEntry(str(frame_id), shown, note, frame.picked is not None)
