"""`tethercap cameras --explain DUMP`: how a camera's settings are understood, from a dump of them."""

import json
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tethercap.camera.words.answer import answer
from tethercap.camera.words.dump import Dump, read_dumps
from tethercap.camera.words.resolve import understand
from tethercap.camera.words.understanding import Understanding
from tethercap.cli.exit_codes import ExitCode
from tethercap.exposure.settings import Setting, SettingState
from tethercap.exposure.show import show_value

_SHOWN_CHOICES = 4
"""How many choices are written out; of a longer list of figures the ends are."""


def explain(path: Path, *, as_json: bool) -> ExitCode:
    """Print how each camera in a dump is understood.

    Parameters
    ----------
    path : Path
        Driver's text form or JSON, one camera or many.
    as_json : bool
        One JSON object a line and camera instead of tables.

    Returns
    -------
    ExitCode

    Raises
    ------
    ProfileError
        If the dump cannot be read.
    """
    dumps = read_dumps(path)
    console = Console(soft_wrap=True)
    for dump in dumps:
        understanding = understand(dump.widgets, dump.model, make=dump.make)
        if as_json:
            print(json.dumps(answer(understanding, dump), ensure_ascii=False))
        else:
            _print_table(console, dump, understanding)
    return ExitCode.DONE


def _print_table(console: Console, dump: Dump, understanding: Understanding) -> None:
    name = " ".join(part for part in (dump.make, understanding.model or dump.model) if part) or dump.file
    console.print(Text.assemble((_printable(name), "bold"), f": {understanding.control}"))
    for sentence in understanding.why:
        console.print(Text(f"  ! {sentence}"))
    for sentence in (*understanding.notes, *dump.notes):
        console.print(Text(f"  - {sentence}"))
    table = Table("setting", "now", "can be set to", box=None, pad_edge=False, header_style="dim")
    table.add_column("widget", overflow="fold")
    for setting in Setting:
        if setting in understanding.states:
            state = understanding.states[setting]
            row = (str(setting).replace("-", " "), show_value(setting, state.value), _offer(understanding, state))
            table.add_row(*(Text(_printable(cell)) for cell in (*row, understanding.widget_name(setting) or "")))
    for setting, reading in understanding.numbered.items():
        shown = reading.current if reading.current is not None else f"{len(reading.values)} values"
        table.add_row(f"{setting} (by number)", str(shown), "read only", reading.widget)
    if understanding.base_iso is not None:
        base = understanding.base_iso
        table.add_row("base ISO", f"ISO {base.iso:g}", "known for this model" if base.certain else "a proposal", "")
    if table.row_count:
        console.print(table)
    console.print()


def _printable(text: str) -> str:
    # Dumps come from strangers: an escape sequence in a choice must not reach the terminal.
    return "".join(character if character.isprintable() else " " for character in text)


def _offer(understanding: Understanding, state: SettingState) -> str:
    if not state.settable:
        return "read only"
    carrier = understanding.carriers[state.setting]
    if carrier.range is not None and not state.choices:
        lowest, highest, _step = carrier.range
        # The ends of an aperture's range are the driver's, not the lens's.
        return "any, read back" if state.setting is Setting.APERTURE else f"{lowest:g} to {highest:g}"
    if state.setting is Setting.IMAGE_FORMAT and understanding.formats is not None:
        alone = understanding.formats.raw_alone
        return f"RAW alone is “{alone}”" if alone else "no RAW alone"
    return _listed(state) or "anything the camera takes"


def _listed(state: SettingState) -> str:
    figures = sorted(
        (value for value in state.choices if value.number is not None), key=lambda value: value.number or 0.0
    )
    words = [value for value in state.choices if value.name is not None]
    parts = list(
        dict.fromkeys(show_value(state.setting, value) for value in words or state.choices if value not in figures)
    )
    if len(parts) > _SHOWN_CHOICES:
        parts = [*parts[:_SHOWN_CHOICES], f"… ({len(parts)})"]
    if figures:
        ends = (show_value(state.setting, figures[0]), show_value(state.setting, figures[-1]))
        parts.append(f"{ends[0]} … {ends[1]} ({len(figures)})")
    return ", ".join(parts)
