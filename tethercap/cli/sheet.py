"""`tethercap sheet`: a roll's contact sheet."""

from pathlib import Path

import click

from tethercap.batch.sheet import SheetForm, SheetOrder, write_sheets
from tethercap.cli._progress import say
from tethercap.cli.exit_codes import ExitCode
from tethercap.convert.sheet import PAPERS, SheetLook
from tethercap.image_files.metadata import xmp_packet
from tethercap.profile_files import load_film_format
from tethercap.roll.folder import Roll
from tethercap.roll.store import waiting_path
from tethercap.roll.view import read_roll

_WHOLE_ROLL = "fit"
_ENDINGS = frozenset({".jpg", ".jpeg", ".pdf", ".html"})


@click.command()
@click.argument("roll_path", metavar="ROLL", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--as",
    "form",
    type=click.Choice([form.value for form in SheetForm]),
    default=SheetForm.JPEG.value,
    show_default=True,
    help="html is one page to look through the roll large; it opens from the disk.",
)
@click.option("--light-table", is_flag=True, help="Show the film itself, lit from below, instead of positives.")
@click.option(
    "--paper",
    type=click.Choice([_WHOLE_ROLL, *PAPERS]),
    help="Paper to fit the roll on; fit makes a page as large as the roll needs.  [default: fit; a4 for pdf]",
)
@click.option(
    "--frame-width", type=click.IntRange(120, 3000), default=480, show_default=True, help="On a page that fits, px."
)
@click.option("--per-strip", type=click.IntRange(1, 12), help="Frames side by side.  [default: as the film is cut]")
@click.option("--out", type=click.Path(path_type=Path), help="File to write, ending or not.  [default: in the roll]")
def sheet(
    roll_path: Path,
    form: str,
    light_table: bool,
    paper: str | None,
    frame_width: int,
    per_strip: int | None,
    out: Path | None,
) -> ExitCode:
    """Make the contact sheet of a roll: its strips in the film's order, with the numbers on its edge.

    Frames chosen by hand have a red rim, those with findings a ! at their number.
    """
    chosen = paper or ("a4" if form == SheetForm.PDF.value else _WHOLE_ROLL)
    order = SheetOrder(
        form=SheetForm(form),
        look=SheetLook.LIGHT_TABLE if light_table else SheetLook.PRINT,
        paper=PAPERS.get(chosen),
        per_strip=per_strip,
        frame_width_px=frame_width,
    )
    if out is not None:
        # Nothing is written into the roll, so that it may be in use.
        view = read_roll(roll_path)
        film_format = load_film_format(view.setup.film_format, project=roll_path)
        stem = out.with_suffix("") if out.suffix.lower() in _ENDINGS else out
        for path in write_sheets(view, film_format, order, stem):
            print(path)
        return ExitCode.DONE
    with Roll.open(roll_path, sidecar=xmp_packet) as roll:
        for path in make_sheets(roll, order):
            print(path)
    return ExitCode.DONE


def make_sheet(roll: Roll) -> Path:
    """Write the usual contact sheet of an open roll and note it in the record; return its path.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    return make_sheets(roll, SheetOrder())[0]


def make_sheets(roll: Roll, order: SheetOrder) -> list[Path]:
    """Write a contact sheet of an open roll and note its files in the record; return their paths.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    film_format = load_film_format(roll.setup.film_format, project=roll.path)
    name = "light-table" if order.look is SheetLook.LIGHT_TABLE and order.form is not SheetForm.HTML else "contact"
    stem = roll.path / f"{roll.setup.id}_{name}"
    paths = write_sheets(read_roll(roll.path), film_format, order, stem, name=waiting_path)
    for path in paths:
        for sentence in roll.put_sheet(waiting_path(path), path).kept_words:
            say(f"{path.name}: {sentence}")
    return paths
