"""Tables from spreadsheets: headings people write, separators their programs use, mistakes named by row."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tethercap.errors import ProfileError
from tethercap.roll.notes_table import read_notes_table
from tethercap.roll.setup import FrameNotes


@pytest.mark.parametrize(
    "text",
    [
        'frame,taken_on,caption,keywords\n7,1998-07,"A walk, with ""him""",lake; boat\n8-9,,,\n',
        'Frame;Date;Caption;Keywords\r\n7;1998-07;"A walk, with ""him""";"lake; boat"\r\n\r\n8-9;;;\r\n',
        'FRAMES\tTaken on\tcaption\tkeywords\n7\t1998-07\t"A walk, with ""him"""\tlake;boat\n8-9\n',
        '\ufeffframe,taken_on,caption,keywords\n 7 , 1998-07 ,"A walk, with ""him""",lake ;boat;\n8-9,,,',
    ],
)
def test_the_tables_that_programs_write(text: str) -> None:
    first, second = read_notes_table(text.encode(), "t.csv")
    assert first == FrameNotes(which="7", taken_on="1998-07", caption='A walk, with "him"', keywords=("lake", "boat"))
    assert second == FrameNotes(which="8-9")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"caption\nx\n", "no column 'frame'"),
        (b"frame,captoin\n1,x\n", "'captoin' is not a known column; did you mean 'caption'?"),
        (b"frame,date\n1,summer\n", "row 2: 'summer' is not a date"),
        (b"frame,caption\n1,x\n1B,y\n", "row 3: '1B' is not a frame number"),
        (b"frame,caption\n,x\n", "row 2: "),
        (b"frame,caption\n1,x,y\n", "row 2 has more cells"),
        (b'frame,caption\n1,"x\n', "cannot be read as a table"),
        (b"frame\n\xff\n", "cannot be read as a table"),
        (b"frame,caption\n1," + b"x" * 5000 + b"\n", "row 2: "),
        (b"x" * (5 << 20), "no table of frames"),
    ],
)
def test_mistakes_are_named(content: bytes, said: str) -> None:
    with pytest.raises(ProfileError) as caught:
        read_notes_table(content, "t.csv")
    assert said in str(caught.value)
    assert str(caught.value).startswith("t.csv")


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    for text in (content, b"frame,caption\n" + content):
        with contextlib.suppress(ProfileError):
            read_notes_table(text, "t.csv")
