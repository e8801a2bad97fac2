"""roll.toml: read strictly, written with comments, edited without losing the comments a person put there."""

import difflib
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from typing import Any, Final

import msgspec
import tomlkit
from tomlkit.exceptions import TOMLKitError

from tethercap.errors import ProfileError, RollNameError
from tethercap.roll.setup import FrameNotes, RollSetup

FILE_NAME: Final = "roll.toml"
RECIPES_NAME: Final = "recipe.toml"
"""How positives of the roll are made, where a person chose; theirs to change, like roll.toml."""

_HEADER = """\
What is known about this roll. Change it whenever you learn more, then run
    tethercap describe FOLDER
and it goes into the pictures' metadata. The RAW files are never touched.
"""
_COMMENTS = {
    "film_kind": "colour-negative, bw-negative or slide",
    "film_format": "135-36x24, 135-18x24, 120-6x6 ...",
    "film_stock": "as printed on the film's edge",
    "first_frame": "as printed on the edge: 00, 0, 1, 1A ...",
    "frames_expected": "how many frames the roll should have",
    "numbers_run": "-1 where the numbers fall while the film is pulled",
    "mirrored": "true where the film lies the other way up",
    "creator": "who took the pictures",
    "rights": "who may do what with them",
    "taken_on": "1998, 1998-07 or 1998-07-12",
    "original_camera": "the camera the film was in",
    "copy_lens": "the lens used now, where it does not tell the camera its name",
}
_ALWAYS_SHOWN = (
    "film_stock", "first_frame", "numbers_run", "mirrored", "creator", "rights", "title", "caption", "keywords",
    "place", "taken_on", "original_camera", "original_lens", "copy_lens", "notes",
)  # fmt: skip
_FRAMES_HINT = """\
Some frames may have words of their own; what they leave out follows the roll:
[[frames]]
which = "7-12"
taken_on = "1998-07"
place = "..."
caption = "..."
keywords = ["..."]
"""
_UNKNOWN_FIELD = re.compile(r"unknown field `(.*?)`(?: - at `|$)", re.DOTALL)
_PLACE = re.compile(r" - at `\$(.*)`$", re.DOTALL)


def read_setup(text: bytes, file_name: str = FILE_NAME) -> RollSetup:
    """Read the contents of a roll.toml.

    Parameters
    ----------
    file_name : str
        Named in the error.

    Raises
    ------
    ProfileError
        If it is not TOML, a field is missing, unknown or of the wrong kind; with the nearest known name.
    """
    try:
        fields = msgspec.toml.decode(text)
        return msgspec.convert(_dates_as_text(fields), RollSetup)
    except (msgspec.MsgspecError, UnicodeError, RecursionError, RollNameError) as error:
        raise ProfileError(
            f"{file_name}: {_explain(str(error))}",
            safe="No picture is touched.",
            todo="Correct the file and try again.",
        ) from error


def _dates_as_text(value: Any) -> Any:
    """Dates that were written without quotes, as text."""
    if isinstance(value, dict):
        return {key: _dates_as_text(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_dates_as_text(item) for item in value]
    return value.isoformat() if isinstance(value, date | datetime | time) else value


def _explain(message: str) -> str:
    """Turn the decoder's words into a sentence with the key and, for an unknown one, the nearest known name."""
    unknown = _UNKNOWN_FIELD.search(message)
    if unknown is not None:
        known = FrameNotes.__struct_fields__ if "frames[" in message else RollSetup.__struct_fields__
        nearest = difflib.get_close_matches(unknown[1], known, n=1, cutoff=0.5)
        return f"{unknown[1][:60]!r} is not a known key" + (f"; did you mean {nearest[0]!r}?" if nearest else ".")
    where = _PLACE.search(message)
    key = where[1].lstrip(".") if where else ""
    reason = _PLACE.sub("", message)[:300]
    return (f"{key}: " if key else "") + reason[:1].lower() + reason[1:] + ("" if reason.endswith(".") else ".")


def write_setup(setup: RollSetup) -> bytes:
    """Text of a new roll.toml, with a comment beside what needs one."""
    document = tomlkit.document()
    for line in _HEADER.splitlines():
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    for name, value in _fields_to_show(setup):
        item = tomlkit.item(value)
        if name in _COMMENTS:
            item.comment(_COMMENTS[name])
        document.add(name, item)
    document.add(tomlkit.nl())
    for line in _FRAMES_HINT.splitlines():
        document.add(tomlkit.comment(line))
    if setup.frames:
        document.add("frames", _frames_table(setup.frames))
    return tomlkit.dumps(document).encode()


def _fields_to_show(setup: RollSetup) -> Iterable[tuple[str, Any]]:
    defaults = {field.name: field.default for field in msgspec.structs.fields(RollSetup)}
    for name in RollSetup.__struct_fields__:
        value = getattr(setup, name)
        shown = name in {"schema", *_ALWAYS_SHOWN} or value != defaults[name]
        if name != "frames" and value is not None and shown:
            yield name, list(value) if isinstance(value, tuple) else value


def _frames_table(frames: Iterable[FrameNotes]) -> tomlkit.items.AoT:
    tables = tomlkit.aot()
    for notes in frames:
        table = tomlkit.table()
        for field in msgspec.structs.fields(FrameNotes):
            value = getattr(notes, field.name)
            if value != field.default:
                table.add(field.name, list(value) if isinstance(value, tuple) else value)
        tables.append(table)
    return tables


def edit_setup(
    text: bytes, changes: Mapping[str, object] = {}, frames: Iterable[FrameNotes] = (), file_name: str = FILE_NAME
) -> bytes:
    """Change fields of a roll.toml, comments kept.

    Parameters
    ----------
    changes : mapping
        Field of `RollSetup` -> new value; None takes the field out.
    frames : iterable of FrameNotes
        Added at the end, so that they win over what was there. Notes on the very same frames are merged.

    Raises
    ------
    ProfileError
        If the file is not usable before or after the change.
    """
    read_setup(text, file_name)
    try:
        document = tomlkit.parse(text)
        for name, value in changes.items():
            document.pop(name, None) if value is None else document.update({name: value})
        for notes in frames:
            _merge_notes(document, notes)
        edited = tomlkit.dumps(document).encode()
    except TOMLKitError as error:
        raise ProfileError(f"{file_name}: {error}.", todo="Correct the file and try again.") from error
    read_setup(edited, file_name)
    return edited


def _merge_notes(document: tomlkit.TOMLDocument, notes: FrameNotes) -> None:
    tables = document.get("frames")
    given = _frames_table([notes])[0]
    for table in tables or ():
        if str(table["which"]) == str(notes.which):
            table.update(given)
            return
    if tables is None:
        document.add("frames", tomlkit.aot())
    document["frames"].append(given)
