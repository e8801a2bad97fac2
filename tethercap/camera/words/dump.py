"""Reads and writes configuration dumps: the driver's text form, and one camera a line as JSON.

Text form: a block per setting (path, Label, Readonly, Type, Current, Choice n, Bottom/Top/Step, END). Dumps come by
mail and through terminals, so the reader forgives what they do to a text: CR-LF, no-break spaces, missing END and
Readonly lines, eaten beginnings of lines, wrapped values, front-end messages in between, and several dumps in one
file (the fullest is used).
"""

import gzip
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tethercap.camera.words.privacy import Anonymiser
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.errors import ProfileError

_LARGEST_DUMP_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Dump:
    """The settings of one camera as somebody wrote them down."""

    file: str
    widgets: tuple[Widget, ...]
    make: str = ""
    model: str = ""
    capture: str = ""
    """The driver's summary line of capture abilities, where the dump has it."""
    notes: tuple[str, ...] = ()
    """What the reader had to forgive."""


def read_dumps(path: Path) -> list[Dump]:
    """Read a file of one or many cameras; packed with gzip or not.

    Parameters
    ----------
    path : Path
        Driver's text form (one camera; the fullest dump of the file is used), JSON lines or a JSON list.

    Raises
    ------
    ProfileError
        If the file cannot be read, or holds no setting.
    """
    try:
        raw = path.read_bytes()
        if raw[:2] == b"\x1f\x8b":
            with gzip.open(path) as packed:
                raw = packed.read(_LARGEST_DUMP_BYTES)
    except (OSError, EOFError) as error:
        raise ProfileError(f"The dump {path} cannot be read: {error}.") from error
    text = _decoded(raw)
    dumps = parse_json(text, path.name) if text.lstrip()[:1] in ("{", "[") else [parse_text(text, path.name)]
    if not any(dump.widgets for dump in dumps):
        raise ProfileError(
            f"There is no setting in {path}.", todo="A dump has blocks that begin with a path and a Label line."
        )
    return dumps


def _decoded(raw: bytes) -> str:
    for encoding in ("utf-8-sig", "latin-1"):
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise AssertionError("latin-1 decodes anything")


# --- JSON -------------------------------------------------------------------------------------------------------------


def parse_json(text: str, file: str) -> list[Dump]:
    """Read cameras from JSON: one object, a list of them, or one a line.

    Raises
    ------
    ProfileError
        If it is no JSON, or not of this form.
    """
    try:
        return [_from_record(record, file) for record in _records(text)]
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise ProfileError(f"The dump {file} is not of the JSON form: {error!r}.") from error


def _records(text: str) -> list[Mapping[str, object]]:
    try:
        whole = json.loads(text)
    except json.JSONDecodeError:
        return [json.loads(line) for line in text.splitlines() if line.strip()]
    return whole if isinstance(whole, list) else [whole]


def _from_record(record: Mapping[str, object], file: str) -> Dump:
    listed = record["widgets"]
    if isinstance(listed, Mapping):
        widgets = [_from_entry(name, entry) for name, entry in listed.items()]
    elif isinstance(listed, list):
        widgets = [_from_entry(str(entry["name"]), entry) for entry in listed]
    else:
        raise TypeError("“widgets” is neither an object nor a list")
    texts = {key: str(record.get(key) or "") for key in ("file", "manufacturer", "model", "capture")}
    return Dump(texts["file"] or file, tuple(widgets), texts["manufacturer"], texts["model"], texts["capture"])


def _from_entry(name: str, entry: Mapping[str, object]) -> Widget:
    limits = entry.get("range")
    choices = entry.get("choices") or ()
    readonly = entry.get("readonly")
    current = entry.get("current")
    return Widget(
        name=name,
        path=str(entry.get("path") or ""),
        label=str(entry.get("label") or ""),
        readonly=readonly if isinstance(readonly, bool) else None,
        kind=_kind(str(entry.get("type") or entry.get("kind") or "")),
        current=current if isinstance(current, str | int | float) else None,
        choices=tuple(str(choice) for choice in choices) if isinstance(choices, list | tuple) else (),
        range=_limits([limits[key] for key in ("bottom", "top", "step")]) if isinstance(limits, Mapping)
        else _limits(limits) if isinstance(limits, list | tuple) else None,
    )  # fmt: skip


def _kind(text: str) -> WidgetKind:
    # A kind nobody knows is kept as a text: the rest of the camera is still worth reading.
    return next((kind for kind in WidgetKind if kind == text.strip().upper()), WidgetKind.TEXT)


def _limits(texts: Sequence[object]) -> tuple[float, float, float] | None:
    figures = [_figure(text) for text in texts]
    if len(figures) != 3 or any(figure is None for figure in figures):
        return None
    lowest, highest, step = (figure or 0.0 for figure in figures)
    return lowest, highest, step


def _figure(text: object) -> float | None:
    try:
        return float(str(text).strip().replace(",", "."))
    except ValueError:
        return None


# --- Text -------------------------------------------------------------------------------------------------------------

_KEYS = ("Label", "Readonly", "Type", "Current", "Choice", "Bottom", "Top", "Step", "Printable", "Help")
_KEY_LINE = re.compile(r"\s*([A-Za-z]{2,9})\s*:(?: (.*)|(.*))")
_CHOICE = re.compile(r"\s*(\d+)\s(.*)|\s*(\d+)")
_HEADING = re.compile(r"\s*(Manufacturer|Model)\s*:\s*(\S.*)")
_CAPTURE = re.compile(r"\s*Capture Formats|.*\b(?:Image Capture|Open Capture|vendor specific capture)\b.*")
_NAME_LINE = re.compile(r"/?(?:[\w-]+/)*[\w-]+(?: [\w-]+){0,3}")
_TERMINAL_COLUMNS = 79


@dataclass(slots=True)
class _Block:
    """One setting while it is being read."""

    path: str
    fields: dict[str, str] = field(default_factory=dict)
    choices: list[str] = field(default_factory=list)
    last_key: str = ""


def parse_text(text: str, file: str = "") -> Dump:
    """Read the driver's text form.

    Parameters
    ----------
    text : str
        The whole file, headings and messages of the front end included.
    file : str
        Its name, for the answer.

    Returns
    -------
    Dump
        Of several dumps in one file the one with most settings; `widgets` is empty where there is none.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace("\u00a0", " ").split("\n")
    dumps = _split_dumps(_blocks(lines))
    fullest = max(dumps, key=len, default=[])
    widgets = tuple(widget for block in fullest if (widget := _from_block(block)) is not None)
    headings = {match[1]: match[2].strip() for line in reversed(lines) if (match := _HEADING.fullmatch(line))}
    capture = next((line.strip() for line in lines if _CAPTURE.fullmatch(line) and "apture" in line), "")
    notes = (f"the file holds {len(dumps)} dumps, the fullest is used",) if len(dumps) > 1 else ()
    named = {widget.name: widget.current_text for widget in widgets}
    return Dump(
        file=file, widgets=widgets, capture=capture.partition(":")[2].strip() or capture, notes=notes,
        make=headings.get("Manufacturer") or named.get("manufacturer", ""),
        model=headings.get("Model") or named.get("cameramodel", ""),
    )  # fmt: skip


def _key_of(line: str) -> tuple[str, str] | None:
    match = _KEY_LINE.fullmatch(line)
    if match is None:
        return None
    found = match[1]
    # A terminal may have eaten the beginning: 'abel:', 'urrent:'.
    key = next((key for key in _KEYS if key == found or (len(found) >= 3 and key.endswith(found))), None)
    return (key, (match[2] if match[2] is not None else match[3]).rstrip()) if key else None


def _blocks(lines: Sequence[str]) -> list[_Block]:
    blocks: list[_Block] = []
    current: _Block | None = None
    before = ""
    for index, line in enumerate(lines):
        keyed = _key_of(line)
        if keyed is None:
            if line.strip() == "END":
                current = None
            elif current is not None and index and _is_wrapped(lines[index - 1], line):
                _continue_value(current, line)
            elif line.strip():
                before = line.strip()
            continue
        key, value = keyed
        if key == "Label" and _NAME_LINE.fullmatch(before):
            current = _Block(before)
            blocks.append(current)
            before = ""
        if current is not None:
            _take(current, key, value)
    return blocks


def _is_wrapped(previous: str, line: str) -> bool:
    return len(previous) >= _TERMINAL_COLUMNS and _key_of(previous) is not None and not line.startswith("/")


def _continue_value(block: _Block, line: str) -> None:
    if block.last_key == "Choice" and block.choices:
        block.choices[-1] += line.rstrip()
    elif block.last_key:
        block.fields[block.last_key] += line.rstrip()


def _take(block: _Block, key: str, value: str) -> None:
    block.last_key = key
    if key == "Choice":
        match = _CHOICE.fullmatch(value)
        block.choices.append((match[2] or "").rstrip() if match else value.strip())
    else:
        block.fields.setdefault(key, value)


def _split_dumps(blocks: Iterable[_Block]) -> list[list[_Block]]:
    # A setting may stand twice within one dump; a new dump begins where the first path of the running one comes
    # again, or where more than a few paths in a row were there before.
    dumps: list[list[_Block]] = []
    seen: set[str] = set()
    repeats = 0
    for block in blocks:
        repeats = repeats + 1 if block.path in seen else 0
        if not dumps or block.path == dumps[-1][0].path or repeats >= 3:
            moved = dumps[-1][len(dumps[-1]) - (repeats - 1) :] if repeats > 1 else []
            if moved:
                del dumps[-1][len(dumps[-1]) - len(moved) :]
            dumps.append(moved)
            seen = {earlier.path for earlier in moved}
            repeats = 0
        dumps[-1].append(block)
        seen.add(block.path)
    return dumps


def _from_block(block: _Block) -> Widget | None:
    kind = block.fields.get("Type", "").strip().upper()
    if not kind:
        kind = "RADIO" if block.choices else "TEXT"
    if kind not in set(WidgetKind):
        return None
    readonly = block.fields.get("Readonly", "").strip()
    limits = [block.fields.get(key, "") for key in ("Bottom", "Top", "Step")]
    path = block.path if "/" in block.path else ""
    return Widget(
        name=block.path.rsplit("/", 1)[-1],
        path=path if not path or path.startswith("/") else "/" + path,
        label=block.fields.get("Label", "").strip(),
        readonly={"0": False, "1": True}.get(readonly),
        kind=WidgetKind(kind),
        current=block.fields.get("Current"),
        choices=tuple(block.choices),
        range=_limits(limits) if kind == "RANGE" else None,
    )


# --- Writing ----------------------------------------------------------------------------------------------------------


def write_dump(widgets: Sequence[Widget], *, heading: Sequence[str] = ()) -> str:
    """Write settings in the driver's text form, with everything taken out that says whose camera it is.

    Owner, artist, copyright, serial numbers, names of devices and networks, addresses, passwords, comments and
    positions are replaced by '(removed)', wherever they stand.

    Parameters
    ----------
    widgets : sequence of Widget
    heading : sequence of str
        Lines to put first ("Model: ..."); cleaned as well.

    Returns
    -------
    str
        Lines ended by a line feed; reads back with `parse_text`.
    """
    anonymiser = Anonymiser.for_widgets(widgets)
    lines = [_one_line(anonymiser.clean_text(line)) for line in heading]
    for widget in widgets:
        lines.extend(_block_lines(anonymiser.clean(widget)))
    return "\n".join(lines) + "\n"


def _block_lines(widget: Widget) -> list[str]:
    lines = [widget.path or widget.name, f"Label: {widget.label}"]
    if widget.readonly is not None:
        lines.append(f"Readonly: {int(widget.readonly)}")
    lines += [f"Type: {widget.kind}", f"Current: {widget.current_text}"]
    lines += [f"Choice: {number} {choice}" for number, choice in enumerate(widget.choices)]
    if widget.range is not None:
        lines += [f"{key}: {limit:.10g}" for key, limit in zip(("Bottom", "Top", "Step"), widget.range, strict=True)]
    return [*(_one_line(line) for line in lines), "END"]


def _one_line(text: str) -> str:
    return " ".join(text.splitlines()) if len(text.splitlines()) > 1 else text
