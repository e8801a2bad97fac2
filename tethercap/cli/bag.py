"""`tethercap bag`: a roll as a BagIt bag."""

import json
from datetime import UTC, datetime
from pathlib import Path

import click

from tethercap.cli._progress import byte_bar, say
from tethercap.cli.exit_codes import ExitCode
from tethercap.roll.bag import write_bag
from tethercap.roll.fixity import files_in, total_bytes


@click.command()
@click.argument("roll", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder in which the bag is made.")
@click.option("--json", "as_json", is_flag=True, help="Print what was made as a JSON object.")
def bag(roll: Path, out: Path, as_json: bool) -> ExitCode:
    """Pack a copy of ROLL as a bag for an archive (BagIt 1.0, RFC 8493).

    Every file is checked against the roll's manifest on the way and read back; a roll that is not as it was filed is
    refused. The roll itself is not changed.
    """
    with byte_bar(f"Packing {roll.name}", total_bytes(roll, files_in(roll))) as progress:
        made = write_bag(roll, out, today=datetime.now(UTC).astimezone().date(), progress=progress)
    if as_json:
        print(json.dumps({"bag": str(made.path), "files": made.files, "size_bytes": made.size_bytes}))
    else:
        print(made.path)
        say(f"{made.files} files, {made.size_bytes / 1e6:.1f} MB, packed and read back.")
    for file in made.encoded:
        talk = f"{file!r} has a sign in its name that some validators of bags do not understand; better rename it."
        say(talk)
    return ExitCode.DONE
