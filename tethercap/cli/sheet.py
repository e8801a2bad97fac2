"""`tethercap sheet`: a roll's contact sheet."""

from pathlib import Path

import click

from tethercap.batch.sheet import SheetEntry, write_sheet
from tethercap.cli.exit_codes import ExitCode
from tethercap.image_files.metadata import xmp_packet
from tethercap.profile_files import load_film_format
from tethercap.roll.folder import FrameStatus, Roll

_NOTES = {FrameStatus.TAKEN: ""}


@click.command()
@click.argument("roll_path", metavar="ROLL", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--frame-width", type=click.IntRange(120, 3000), default=480, show_default=True, help="Width of a frame, px."
)
@click.option("--per-strip", type=click.IntRange(1, 12), help="Frames side by side.  [default: as the film is cut]")
def sheet(roll_path: Path, frame_width: int, per_strip: int | None) -> ExitCode:
    """Make the contact sheet of a roll from its proofs, in the film's order, with the numbers on its edge."""
    with Roll.open(roll_path, sidecar=xmp_packet) as roll:
        entries = []
        for frame_id, frame in roll.frames.items():
            chosen = frame.chosen
            proof = roll.proof_path(frame_id, chosen.number) if chosen is not None else None
            shown = proof if proof is not None and proof.exists() else None
            note = _NOTES.get(frame.status, frame.status.value)
            if shown is None and chosen is not None:
                note = "not converted"
            entries.append(SheetEntry(str(frame_id), shown, note, frame.picked is not None))
        film_format = load_film_format(roll.setup.film_format, project=roll_path)
        about = [
            part for part in (roll.setup.film_stock, film_format.name, roll.setup.taken_on, roll.setup.creator) if part
        ]
        write_sheet(
            roll.sheet_path,
            entries,
            title=" ".join(part for part in (roll.setup.id, roll.setup.title) if part),
            subtitle="   ".join(about),
            per_strip=per_strip or film_format.frames_per_strip,
            frame_width_px=frame_width,
        )
        roll.note_sheet(roll.sheet_path)
        print(roll.sheet_path)
    return ExitCode.DONE
