"""`tethercap cameras`: which cameras are there, and how one is understood."""

from pathlib import Path

import click

from tethercap.cli._explain import explain
from tethercap.cli.exit_codes import ExitCode


@click.command()
@click.option(
    "--explain",
    "dump",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="DUMP",
    help="Say how each setting in a configuration dump is understood.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line and camera.")
def cameras(dump: Path | None, as_json: bool) -> ExitCode:
    """List cameras, or explain how one is understood."""
    if dump is None:
        raise click.UsageError("Say which dump to explain: --explain DUMP.")
    return explain(dump, as_json=as_json)
