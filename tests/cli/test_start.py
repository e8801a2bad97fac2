"""`tethercap start`: a choice on the screen becomes the command that it stands for."""

from pathlib import Path

import click
import pytest

from tethercap.cli.start import carry_out, start
from tethercap.errors import CameraError
from tethercap.film.kinds import FilmKind
from tethercap.roll.core import read_folder_setup
from tethercap.tui.start_view import Choice, NewRoll


def test_a_new_roll_gets_everything_the_form_said(tmp_path: Path) -> None:
    """The roll is made before the camera is opened; there is none at that port, and the roll waits for it."""
    form = (
        NewRoll(kind=FilmKind.SLIDE, numbers_run=-1, mirrored=True)
        .typed("roll_id", "b12")
        .typed("film_stock", "invented")
    )
    setup = form.typed("first_frame", "36A").typed("frames_expected", "24").setup()
    choice = Choice("capture", tmp_path / "b12", setup, port="ptpip:127.0.0.1:9:9")
    with click.Context(start) as context, pytest.raises(CameraError):
        carry_out(context, choice)
    made = read_folder_setup(tmp_path / "b12")
    assert (made.id, made.film_kind, made.film_stock, str(made.first_frame)) == (
        "b12",
        FilmKind.SLIDE,
        "invented",
        "36A",
    )
    assert (made.frames_expected, made.numbers_run, made.mirrored) == (24, -1, True)
