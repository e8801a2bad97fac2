"""Files that a person, a spreadsheet or another computer may hand over: record, roll.toml, profiles, tables, names."""

import hashlib
import tempfile
from pathlib import Path

from hypothesis import strategies as st

from tests.fuzz.damage import damaged
from tethercap.errors import ProfileError, RollNameError
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind, FilmKindProfile
from tethercap.profile_files import read_profile
from tethercap.profile_files.find import shipped_folder
from tethercap.roll import setup_file
from tethercap.roll.fixity import manifest_text, read_manifest
from tethercap.roll.lines import (
    Blank,
    Converted,
    Filed,
    FileMove,
    FrameMove,
    LineBody,
    NextFrame,
    Renumbering,
    Skipped,
    Started,
    StripStarted,
)
from tethercap.roll.names import FrameId, check_path, check_roll_id, check_suffix, parse_frame_range, parse_stem
from tethercap.roll.notes_table import read_notes_table
from tethercap.roll.record import encode_line, line_sum, read_record
from tethercap.roll.setup import FrameNotes, RollSetup
from tethercap.roll.state import rebuild

_AT = "2031-03-02T18:04:11.250Z"
_SHA = hashlib.sha256(b"a picture").hexdigest()
SETUP = RollSetup(
    id="FUZZ-1",
    film_kind=FilmKind.SLIDE,
    film_format="135-36x24",
    keywords=("one", "two"),
    frames=(FrameNotes(which="1-6", place="nowhere", taken_on="1998-07"),),
)
_BODIES: tuple[LineBody, ...] = (
    Started(roll_id="FUZZ-1", software="tethercap"),
    StripStarted(strip=1, first="1"),
    Filed(frame="1", take=1, file="raw/FUZZ-1_01.dng", waits_as="raw/.x.p", sha256=_SHA, size_bytes=9, accepted=True),
    Converted(frame="1", take=1, positive="positive/FUZZ-1_01.tif", positive_sha256=_SHA, steps=[{"a": [1, 2.5]}]),
    Skipped(frame="2", why="scratched", view=b"\x01\x02"),
    Blank(frame="3"),
    NextFrame(frame="36A"),
    Renumbering(
        frames=(FrameMove(frame="1", new_frame="8"),),
        files=(FileMove(old="raw/FUZZ-1_01.dng", via="raw/.m", new="raw/FUZZ-1_08.dng"),),
    ),
)
RECORD = b"".join(encode_line(number, _AT, body) for number, body in enumerate(_BODIES, start=1))


def summed(content: bytes) -> bytes:
    """Lines whose sums fit again: what a damaged program may have written rather than a damaged disk."""
    lines = (line.partition(b',"sum"')[0] for line in content.split(b"\n"))
    return b"".join(line + b',"sum":"' + line_sum(line).encode() + b'"}\n' for line in lines if line)


_RECORD_WORDS = (b"{}", b'"n":', b"1e999", b"null", b'"../x"', b"\\u0000", b'"kind":"filed"', b"\n", b"[[[[", b"-1")
records = st.one_of(damaged([RECORD], _RECORD_WORDS), damaged([RECORD], _RECORD_WORDS).map(summed))


def read_a_record(content: bytes) -> None:
    """Whatever it holds, a record is read: lines that can be trusted are used, and no path leads out of the roll."""
    contents = read_record(content)
    state, _ = rebuild(SETUP, contents.lines)
    for file in state.sums:
        assert check_path(file) == file
        assert (Path("/roll") / file).resolve().is_relative_to("/roll")
    assert contents.sound_bytes + len(contents.torn) == len(content)


_SETUP_WORDS = (b"=", b"[[frames]]\n", b'which = "1-6"\n', b"id = ", b"\n[", b"1979-05-27", b"inf", b'"""', b"\xff")
setups = damaged([setup_file.write_setup(SETUP)], _SETUP_WORDS)


def read_a_setup(content: bytes) -> None:
    """It is read, or refused in words; what was read can be changed and written."""
    try:
        setup = setup_file.read_setup(content, "roll.toml")
    except ProfileError as error:
        assert str(error)
        return
    assert check_roll_id(setup.id) == setup.id
    try:
        edited = setup_file.edit_setup(content, {"caption": "a caption"}, [FrameNotes(which="9", title="nine")])
    except ProfileError:
        return
    again = setup_file.read_setup(edited, "roll.toml")
    assert (again.caption, again.notes_for(FrameId(9)).title) == ("a caption", "nine")


def _profiles(folder: str) -> list[bytes]:
    return [path.read_bytes() for path in sorted((shipped_folder() / folder).glob("*.toml"))]


_PROFILE_WORDS = (b"nan", b"-1", b"1e400", b"true", b"[perforations]\n", b"= ", b"\n", b'"\n')
profiles = st.tuples(
    st.sampled_from((FilmFormat, FilmKindProfile)),
    damaged([*_profiles("film_formats"), *_profiles("film_kinds")], _PROFILE_WORDS),
)


def read_a_profile(case: tuple[type, bytes]) -> None:
    """It is read, or refused in words that name the file."""
    profile_type, content = case
    with tempfile.NamedTemporaryFile(suffix=".toml") as file:
        Path(file.name).write_bytes(content)
        try:
            profile: object = read_profile(Path(file.name), profile_type)
        except ProfileError as error:
            assert Path(file.name).name in str(error)
        else:
            assert isinstance(profile, profile_type)


_TABLE = b'frame,taken_on,place,keywords\n1-6,1998-07,nowhere,a;b\n36A,,"there, or not",\n'
_TABLE_WORDS = (b'"', b",", b";", b"\t", b"\r", b"\n", b"\x00", b"\xef\xbb\xbf", b"9999-99", b"00-S", b"'", b"\xff")
tables = damaged([_TABLE, _TABLE.replace(b",", b";")], _TABLE_WORDS)


def read_a_table(content: bytes) -> None:
    """It is read, or refused in words that name the file; every frame it names is one."""
    try:
        notes = read_notes_table(content, "notes.csv")
    except ProfileError as error:
        assert "notes.csv" in str(error)
        return
    for each in notes:
        parse_frame_range(str(each.which))


manifests = damaged([manifest_text({"raw/a.dng": _SHA, "positive/a.tif": _SHA})], (b"  ", b" *", b"\n", b"\\", b"../"))


def read_a_manifest(content: bytes) -> None:
    """Lines that are none are told."""
    sums, odd = read_manifest(content)
    assert all(len(sha256) == 64 for sha256 in sums.values())
    assert len(sums) + len(odd) <= content.count(b"\n") * 4 + 40


names = st.one_of(
    st.text(max_size=80),
    st.sampled_from(["../../x", "CON", "a/b", "-rf", "a\0b", "FUZZ-1_01", "36A", "00", "S", "0٣", "１", "NUL.txt"]),
    st.text(alphabet="FUZ-1_0A.t/\\ ", max_size=20),
)


def take_a_name(text: str) -> None:
    """A name that is accepted can be part of a path, and means the same when it is read again."""
    for check in (check_roll_id, check_suffix, check_path):
        try:
            accepted = check(text)
        except RollNameError:
            continue
        assert (Path("/roll") / accepted).resolve().is_relative_to("/roll")
        assert accepted.isascii()
    try:
        frame = FrameId.parse(text)
    except RollNameError:
        pass
    else:
        assert FrameId.parse(str(frame)) == frame
        assert parse_stem("FUZZ-1", f"FUZZ-1_{frame.file_part}") == (frame, 1)
    known = parse_stem("FUZZ-1", text)
    assert known is None or known[1] >= 1
