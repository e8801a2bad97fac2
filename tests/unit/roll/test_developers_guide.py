"""The guide for developers says what the code does: the record's lines and our own properties."""

import re
import typing
from pathlib import Path

from tethercap.roll.lines import LineBody
from tethercap.roll.metadata import OWN_PROPERTIES

_GUIDE = (Path(__file__).parents[3] / "DEVELOPERS.md").read_text(encoding="utf-8")
_TABLES = [line for line in _GUIDE.splitlines() if line.startswith("| `")]
_ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in _TABLES]


def test_every_kind_of_line_is_described_with_its_fields() -> None:
    described = {row[0].strip("`"): set(re.findall(r"`(\w+)`", row[2])) for row in _ROWS if len(row) == 3}
    for body in typing.get_args(LineBody):
        assert described[body.__struct_config__.tag] == set(body.__struct_fields__)


def test_every_property_of_our_own_is_described() -> None:
    described = {row[0].strip("`"): row[1] for row in _ROWS if len(row) == 2}
    assert {name: described.get(name) for name in OWN_PROPERTIES} == dict(OWN_PROPERTIES)
