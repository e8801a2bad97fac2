"""`tethercap capture`: what is wrong with the command line is told before a camera is looked for."""

from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tests.unit.roll import rolls
from tethercap.cli.main import tethercap


def _refused(*arguments: str) -> str:
    with pytest.raises(click.UsageError) as caught:
        CliRunner().invoke(tethercap, arguments, standalone_mode=False, catch_exceptions=False)
    return caught.value.format_message()


@pytest.mark.parametrize(
    ("option", "correction"),
    [
        (("--kind", "slide"), "film_kind=slide"),
        (("--format", "120-6x6"), "film_format=120-6x6"),
        (("--numbers-fall",), "numbers_run=-1"),
        (("--mirrored",), "mirrored=True"),
    ],
)
def test_a_roll_is_not_gone_on_with_as_another_film(option: tuple[str, ...], correction: str, tmp_path: Path) -> None:
    path = tmp_path / "X31-007"
    rolls.create(path).close()
    said = _refused("capture", str(path), *option)
    assert said.endswith(f"tethercap describe {path} --set {correction}")
    assert CliRunner().invoke(tethercap, ["describe", str(path), "--set", correction]).exit_code == 0


@pytest.mark.parametrize("arguments", [("a b",), ("roll", "--first-frame", "x9")])
def test_names_that_cannot_be_are_refused(arguments: tuple[str, ...], tmp_path: Path) -> None:
    folder, *rest = arguments
    assert "tethercap" not in _refused("capture", str(tmp_path / folder), *rest)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", [("look", "."), ("start",), ("rig",)])
def test_a_screen_is_not_drawn_where_nobody_sees_it(command: tuple[str, ...]) -> None:
    assert "needs a terminal" in _refused(*command)
