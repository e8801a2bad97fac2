"""Checksums: published values, the manifest's form, and what checking tells."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.roll import rolls
from tests.unit.roll.rolls import take
from tethercap.errors import RollError
from tethercap.roll.fixity import file_sha256, manifest_text, read_manifest, verify
from tethercap.roll.folder import Roll


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with rolls.create(tmp_path / "roll") as made:
        take(made, "1", 1)
        take(made, "2", 2)
        made.close()
        yield made


@pytest.mark.parametrize(
    ("content", "sha256"),
    [
        # FIPS 180-4, examples of its appendix as NIST publishes them
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_published_checksums(tmp_path: Path, content: bytes, sha256: str) -> None:
    path = tmp_path / "file"
    path.write_bytes(content)
    pieces: list[int] = []
    assert file_sha256(path, pieces.append) == sha256
    assert sum(pieces) == len(content)


def test_coreutils_write_the_same_manifest(roll: Roll) -> None:
    text = (roll.path / "manifest-sha256.txt").read_text()
    files = [line.split("  ")[1] for line in text.splitlines()]
    assert files == sorted(files)
    theirs = subprocess.run(["sha256sum", "--", *files], cwd=roll.path, capture_output=True, text=True, check=True)
    assert theirs.stdout == text


@given(st.dictionaries(st.from_regex(r"raw/[A-Za-z0-9._-]{1,12}", fullmatch=True), st.just("ab" * 32), max_size=5))
def test_a_manifest_reads_as_it_was_written(sums: dict[str, str]) -> None:
    assert read_manifest(manifest_text(sums)) == (sums, ())


@given(st.binary(max_size=200))
def test_any_bytes_are_read_as_a_manifest(content: bytes) -> None:
    sums, odd = read_manifest(content)
    assert not sums or b"  " in content or b" *" in content
    assert isinstance(odd, tuple)


def test_a_sound_roll(roll: Roll) -> None:
    report = verify(roll.path)
    assert report.is_sound
    assert report.checked == 4
    assert not report.in_use


def test_every_kind_of_fault_is_told(roll: Roll) -> None:
    raw = roll.path / "raw"
    flipped = bytearray((raw / "X31-007_01.dng").read_bytes())
    flipped[500] ^= 1
    (raw / "X31-007_01.dng").write_bytes(bytes(flipped))
    (raw / "X31-007_02.dng").unlink()
    (raw / "notes.txt").write_text("mine")
    manifest = roll.path / "manifest-sha256.txt"
    lines = manifest.read_text().splitlines()
    manifest.write_text("\n".join([*(line for line in lines if "02.xmp" not in line), "scribble"]))
    with (roll.path / "record.jsonl").open("ab") as record:
        record.write(b"scribble\n")
    report = verify(roll.path)
    assert not report.is_sound
    assert report.changed == ("raw/X31-007_01.dng",)
    assert report.missing == ("raw/X31-007_02.dng",)
    assert report.extra == ("raw/X31-007_02.xmp", "raw/notes.txt")
    assert report.unlisted == ("raw/X31-007_02.xmp",)
    assert report.manifest_damage == ("scribble",)
    assert len(report.record_damage) == 1
    assert report.checked == 1


def test_a_torn_record_is_told(roll: Roll) -> None:
    path = roll.path / "record.jsonl"
    path.write_bytes(path.read_bytes()[:-20])
    assert "never finished" in verify(roll.path).record_damage[0]


def test_a_manifest_that_points_outside_reads_nothing_there(roll: Roll, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("mine")
    with (roll.path / "manifest-sha256.txt").open("a") as manifest:
        manifest.write("00" * 32 + "  ../secret\n" + "00" * 32 + "  /etc/hostname\n")
    report = verify(roll.path)
    assert report.unreadable == ("../secret", "/etc/hostname")
    assert not report.changed


def test_extra_files_do_no_harm(roll: Roll) -> None:
    (roll.path / "notes.txt").write_text("mine")
    report = verify(roll.path)
    assert report.is_sound
    assert report.extra == ("notes.txt",)


def test_a_folder_without_manifest_is_no_roll(tmp_path: Path) -> None:
    with pytest.raises(RollError, match="has no manifest"):
        verify(tmp_path)


def test_verify_changes_nothing(roll: Roll) -> None:
    def everything() -> dict[str, tuple[int, bytes]]:
        return {str(p): (p.stat().st_mtime_ns, p.read_bytes()) for p in roll.path.rglob("*") if p.is_file()}

    before = everything()
    verify(roll.path)
    assert everything() == before


def test_a_roll_in_use_is_said_to_be(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
        assert verify(roll.path).in_use
