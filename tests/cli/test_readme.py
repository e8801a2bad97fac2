"""The README says what the program does: its tables are the program's own."""

from pathlib import Path

from tethercap.cli.main import COMMANDS
from tethercap.tui.actions import keys_table

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def test_the_table_of_keys_is_the_registrys() -> None:
    assert README.split("<!-- keys -->\n")[1].split("\n<!-- end of keys -->")[0] == keys_table().strip()


def test_every_command_is_named() -> None:
    for command in COMMANDS:
        assert f"`{command}" in README, command


def test_both_commands_for_a_newcomer_are_single_lines() -> None:
    for mark in ("<!-- demo command -->", "<!-- test command -->"):
        _, fence, command, end = README.split(mark)[1].splitlines()[:4]
        assert (fence, end) == ("```sh", "```")
        assert command.startswith("python3 -m venv .venv && ")
