"""Notes on frames from a table that a person keeps in a spreadsheet (CSV, RFC 4180, or with semicolons or tabs)."""

import csv
import difflib
import io
from typing import Final

import msgspec

from tethercap.errors import ProfileError
from tethercap.roll.setup import FrameNotes

COLUMNS: Final = {
    "frame": "which",
    "frames": "which",
    "which": "which",
    "taken_on": "taken_on",
    "date": "taken_on",
    "place": "place",
    "title": "title",
    "caption": "caption",
    "keywords": "keywords",
    "notes": "notes",
}
"""Column heading -> field of `FrameNotes`."""

_KEYWORD_SEPARATOR = ";"
_MOST_BYTES = 4 << 20


def read_notes_table(content: bytes, file_name: str) -> tuple[FrameNotes, ...]:
    """Read a table whose first line names its columns; one line a frame or range of frames.

    Parameters
    ----------
    content : bytes
        UTF-8, with or without byte order mark. Keywords in a cell are separated by semicolons.
    file_name : str
        Named in the error.

    Raises
    ------
    ProfileError
        With the line, and for an unknown column the nearest known name.
    """
    if len(content) > _MOST_BYTES:
        raise ProfileError(f"{file_name} has more than {_MOST_BYTES >> 20} MiB, which is no table of frames.")
    try:
        text = content.decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True))
    except (UnicodeError, csv.Error) as error:
        raise ProfileError(
            f"{file_name} cannot be read as a table: {error}.", todo="Save it as CSV in UTF-8 and try again."
        ) from error
    if not rows:
        raise ProfileError(f"{file_name} is empty.", todo="Its first line names the columns: frame, taken_on ...")
    fields = [_field_of(heading, file_name) for heading in rows[0]]
    if "which" not in fields:
        raise ProfileError(f"{file_name} has no column 'frame'.", todo="Name the frames in a column called frame.")
    filled = ((number, row) for number, row in enumerate(rows[1:], start=2) if any(cell.strip() for cell in row))
    return tuple(_notes_of(fields, row, f"{file_name}, row {number}") for number, row in filled)


def _delimiter(text: str) -> str:
    """Comma, semicolon or tab, whichever the first line has most of."""
    first_line = text.partition("\n")[0]
    return max(",;\t", key=first_line.count)


def _field_of(heading: str, file_name: str) -> str:
    name = heading.strip().lower().replace(" ", "_")
    if name in COLUMNS:
        return COLUMNS[name]
    nearest = difflib.get_close_matches(name, COLUMNS, n=1, cutoff=0.5)
    hint = f"; did you mean {nearest[0]!r}?" if nearest else "."
    raise ProfileError(
        f"{file_name}: {heading[:60]!r} is not a known column{hint}",
        todo=f"Known are {', '.join(COLUMNS)}.",
    )


def _notes_of(fields: list[str], row: list[str], place: str) -> FrameNotes:
    if len(row) > len(fields):
        what = f"{place} has more cells than the first line has names."
        raise ProfileError(what, todo="Put text with commas in quotes.")
    cells: dict[str, object] = {field: cell.strip() for field, cell in zip(fields, row, strict=False) if cell.strip()}
    if "keywords" in cells:
        words = (word.strip() for word in str(cells["keywords"]).split(_KEYWORD_SEPARATOR))
        cells["keywords"] = [word for word in words if word]
    try:
        return msgspec.convert(cells, FrameNotes)
    except msgspec.ValidationError as error:
        raise ProfileError(f"{place}: {str(error).rstrip('.')}.", todo="Correct the table and try again.") from error
