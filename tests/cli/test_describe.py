"""`tethercap describe`: words from the command line, a table and roll.toml reach the metadata."""

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tests.unit.roll import rolls
from tests.unit.roll.rolls import take
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import tethercap
from tethercap.errors import ProfileError
from tethercap.image_files.metadata import read, xmp_packet
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll


@pytest.fixture
def roll(tmp_path: Path) -> Path:
    with Roll.create(tmp_path / "X31-007", rolls.setup(), sidecar=xmp_packet, layer=rolls.HastyDisk()) as made:
        for number in (1, 2, 3):
            take(made, str(number), number)
    return tmp_path / "X31-007"


def _run(*arguments: str) -> tuple[object, str, str]:
    result = CliRunner().invoke(tethercap, ["describe", *arguments], standalone_mode=False, catch_exceptions=False)
    return result.return_value, result.stdout, result.stderr


def _sidecar(roll: Path, frame: int) -> dict[str, object]:
    return read(roll / f"raw/X31-007_{frame:02}.xmp")


def test_a_change_by_hand_in_roll_toml(roll: Path) -> None:
    path = roll / "roll.toml"
    path.write_text(path.read_text().replace('creator = ""', 'creator = "N. N."'))
    code, out, talk = _run(str(roll))
    assert code == ExitCode.DONE
    assert out.splitlines() == [f"raw/X31-007_0{number}.xmp" for number in (1, 2, 3)]
    assert "3 files written" in talk
    assert _sidecar(roll, 3)["Xmp.dc.creator"] == ["N. N."]
    assert verify(roll).is_sound


def test_words_for_the_roll_and_for_some_frames(roll: Path) -> None:
    _run(str(roll), "--set", "film_speed_iso=400", "--set", "keywords=lake; boat", "--set", "caption=a=b")
    _run(str(roll), "--frames", "2-3", "--set", "caption=the pier", "--set", "taken_on=1998-07")
    assert _sidecar(roll, 1)["Xmp.dc.description"] == "a=b"
    assert _sidecar(roll, 1)["Xmp.dc.subject"] == ["lake", "boat"]
    assert _sidecar(roll, 1)["Xmp.tethercap.FilmSpeedIso"] == "400"
    assert _sidecar(roll, 2)["Xmp.dc.description"] == "the pier"
    assert _sidecar(roll, 2)["Xmp.dc.subject"] == ["lake", "boat"]
    assert _sidecar(roll, 3)["Xmp.photoshop.DateCreated"] == "1998-07"
    assert "# who took the pictures" in (roll / "roll.toml").read_text()


def test_a_table(roll: Path, tmp_path: Path) -> None:
    table = tmp_path / "notes.csv"
    table.write_text("frame,place,date\n1-2,a lake,1998\n3,a town,1999-01\n")
    code, out, _ = _run(str(roll), "--csv", str(table), "--json")
    assert code == ExitCode.DONE
    assert len(json.loads(out)["written"]) == 3
    assert _sidecar(roll, 2)["Xmp.iptc.Location"] == "a lake"
    assert _sidecar(roll, 3)["Xmp.exif.DateTimeOriginal"] == "1999-01"


def test_what_another_program_changed_is_told(roll: Path) -> None:
    (roll / "raw/X31-007_02.xmp").write_bytes(b"ratings")
    code, _, talk = _run(str(roll))
    assert code == ExitCode.FOUND
    assert "is kept as aside/" in talk.replace("\n", " ")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--set", "creatr=x"), "did you mean 'creator'"),
        (("--set", "creator"), "has no ="),
        (("--set", "film_speed_iso=fast"), "film_speed_iso"),
        (("--set", "film_kind=print"), "known are colour-negative, bw-negative, slide"),
        (("--set", "id=other"), "'id' is not a known key"),
        (("--frames", "2"), "give --set as well"),
        (("--frames", "9-2", "--set", "caption=x"), "run backwards"),
        (("--frames", "2", "--set", "creator=x"), "'creator' is not a known key"),
    ],
)
def test_mistakes_on_the_command_line(roll: Path, arguments: tuple[str, ...], said: str) -> None:
    before = (roll / "roll.toml").read_bytes()
    with pytest.raises(click.UsageError) as caught:
        _run(str(roll), *arguments)
    assert said in caught.value.format_message()
    assert (roll / "roll.toml").read_bytes() == before


def test_a_film_format_that_is_none_is_refused(roll: Path) -> None:
    before = (roll / "roll.toml").read_bytes()
    with pytest.raises(ProfileError, match='"135-36x25"; did you mean'):
        _run(str(roll), "--set", "film_format=135-36x25")
    assert (roll / "roll.toml").read_bytes() == before


def test_a_table_that_is_not_there(roll: Path, tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read"):
        _run(str(roll), "--csv", str(tmp_path / "none.csv"))
