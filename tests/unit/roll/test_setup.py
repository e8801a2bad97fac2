"""roll.toml: strict in what it takes, helpful in what it says, careful with a person's comments."""

import contextlib
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.roll.rolls import setup
from tethercap.errors import ProfileError, RollNameError
from tethercap.roll.names import FrameId
from tethercap.roll.setup import FrameNotes
from tethercap.roll.setup_file import edit_setup, read_setup, write_setup

_LEAST = b'id = "A1"\nfilm_kind = "slide"\nfilm_format = "135-36x24"\n'


def test_what_is_written_reads_the_same() -> None:
    rich = setup(
        film_stock="Example 100",
        first_frame="00",
        numbers_run=-1,
        mirrored=True,
        frames_expected=38,
        creator='A "quoted" name\\',
        keywords=("north", "süd"),
        taken_on="1998-07",
        caption="two\nlines",
        frames=(FrameNotes(which="1-3", place="a lake"), FrameNotes(which="7", keywords=("boat",))),
    )
    assert read_setup(write_setup(rich)) == rich
    assert read_setup(write_setup(setup())) == setup()


def test_an_independent_reader_agrees() -> None:
    text = write_setup(setup(caption="x", frames=(FrameNotes(which="2", title="t"),))).decode()
    fields = tomllib.loads(text)
    assert fields["caption"] == "x"
    assert fields["frames"] == [{"which": "2", "title": "t"}]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b'flim_kind = "slide"\n', "'flim_kind' is not a known key; did you mean 'film_kind'?"),
        (_LEAST + b'[[frames]]\nwich = "2"\n', "'wich' is not a known key; did you mean 'which'?"),
        (_LEAST + b'first_frame = "1B"\n', "'1B' is not a frame number"),
        (_LEAST + b"numbers_run = 2\n", "numbers_run: "),
        (_LEAST + b'mirrored = "yes"\n', "mirrored: expected `bool`"),
        (_LEAST + b'taken_on = "last summer"\n', "'last summer' is not a date"),
        (_LEAST + b'[[frames]]\nwhich = "9-2"\n', "run backwards"),
        (_LEAST + b"schema = 2\n", "schema: "),
        (_LEAST.replace(b"A1", b"../A1"), "A roll's id may hold only".lower()),
        (b'id = "A1"\n', "missing required field"),
        (b'id = "A1', "roll.toml: "),
        (b"\xff\xfe", "roll.toml: "),
        (b"a=" + b"[" * 3000, "roll.toml: "),
    ],
)
def test_mistakes_are_named(text: bytes, said: str) -> None:
    with pytest.raises(ProfileError) as caught:
        read_setup(text)
    assert said.lower() in str(caught.value).lower()
    assert caught.value.todo


def test_a_setup_made_in_the_program_is_checked_as_well() -> None:
    for mistake in ({"id": "my roll"}, {"id": "con"}, {"first_frame": "1B"}):
        with pytest.raises(RollNameError):
            setup(**mistake)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    for text in (content, _LEAST + content):
        with contextlib.suppress(ProfileError):
            read_setup(text)


@given(st.sampled_from([b"id", b"film_kind", b"frames", b"keywords", b"taken_on"]), st.binary(max_size=40))
def test_any_value_is_read_or_refused(key: bytes, value: bytes) -> None:
    with contextlib.suppress(ProfileError):
        read_setup(_LEAST + key + b" = " + value)


def test_dates_need_no_quotes_and_numbers_neither() -> None:
    read = read_setup(_LEAST + b"taken_on = 1998-07-12\nfirst_frame = 3\n[[frames]]\nwhich = 4\n")
    assert read.taken_on == "1998-07-12"
    assert read.first == FrameId(3)
    assert read.frames[0].covers(FrameId(4))


def test_a_change_keeps_comments_and_order() -> None:
    text = _LEAST + b'# what my aunt told me\ncaption = "old"  # sure?\n'
    text += b'\n[[frames]]\nwhich = "1"  # the boat\nplace = "pier"\n'
    notes = [FrameNotes(which="1", title="T"), FrameNotes(which="2", title="U")]
    edited = edit_setup(text, {"caption": "new", "creator": "N. N."}, notes).decode()
    assert "# what my aunt told me" in edited
    assert "# sure?" in edited
    assert "# the boat" in edited
    read = read_setup(edited.encode())
    assert (read.caption, read.creator) == ("new", "N. N.")
    assert read.notes_for(FrameId(1)).title == "T"
    assert read.notes_for(FrameId(1)).place == "pier"
    assert read.notes_for(FrameId(2)).title == "U"


def test_a_change_that_cannot_be_meant_is_refused() -> None:
    with pytest.raises(ProfileError, match="film_kind"):
        edit_setup(_LEAST, {"film_kind": "paper"})
    with pytest.raises(ProfileError, match="did you mean 'creator'"):
        edit_setup(_LEAST, {"creatr": "x"})


def test_a_field_can_be_taken_out() -> None:
    assert read_setup(edit_setup(_LEAST + b'caption = "x"\n', {"caption": None})).caption == ""


def test_frames_add_to_the_roll_and_later_notes_win() -> None:
    roll = setup(
        caption="roll",
        place="home",
        keywords=("a",),
        frames=(
            FrameNotes(which="1-10", place="lake", keywords=("b",)),
            FrameNotes(which="5", place="pier", keywords=("a", "c")),
        ),
    )
    assert roll.notes_for(FrameId(5)).place == "pier"
    assert roll.notes_for(FrameId(5)).keywords == ("a", "b", "c")
    assert roll.notes_for(FrameId(10, is_half=True)).place == "home"
    assert roll.notes_for(FrameId(10)).caption == "roll"


def test_half_frame_film_counts_halves_unless_told() -> None:
    assert setup(film_format="135-18x24").by_halves
    assert not setup(film_format="135-18x24", count_halves=False).by_halves
    assert setup(count_halves=True).by_halves
    assert not setup().by_halves
