"""Modules of fitted numbers, written by the program that fitted them."""

from collections.abc import Sequence

import numpy as np

from tests.quality.spectra import F64

Table = tuple[str, F64, str]
"""Name, numbers (shape (n,) or (n, m)) and what they are."""


def module_text(what: str, command: str, tables: Sequence[Table], tail: str = "") -> str:
    """Text of a module that holds tables of numbers."""
    head = f'"""Numbers of {what}, written by ``{command}``; not to be edited by hand."""\n\n'
    body = "".join(f'\n{name} = np.array({_lines(values)})\n"""{said}"""\n' for name, values, said in tables)
    return head + "# fmt: off\nimport numpy as np\n" + body + tail


def _lines(values: F64, indent: str = "") -> str:
    inner = indent + "    "
    if values.ndim == 2:
        return "(\n" + "".join(f"{inner}{_lines(row, inner)},\n" for row in values) + ")"
    numbers = [f"{np.round(float(value), 4):g}" for value in values]
    rows = [", ".join(numbers[first : first + 12]) for first in range(0, len(numbers), 12)]
    return f"(\n{inner}" + f",\n{inner}".join(rows) + f",\n{indent})"
