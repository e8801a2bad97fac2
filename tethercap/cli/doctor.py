"""`tethercap doctor`: what stands between this computer and the camera."""

import json
from dataclasses import asdict
from pathlib import Path

import click
from rich.console import Console
from rich.text import Text

from tethercap.camera.checkup import check_up
from tethercap.camera.discover import default_log_dir, find_cameras
from tethercap.camera.holders import UDEV_PATH, UDEV_RULE
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import StorageError


@click.command()
@click.option("--udev", is_flag=True, help="Print the rule that lets people use cameras on Linux.")
@click.option(
    "--write",
    "target",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="PATH",
    help=f"With --udev: write the rule to a file, usually {UDEV_PATH}.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line and finding.")
def doctor(udev: bool, target: Path | None, as_json: bool) -> ExitCode:
    """Say what stands between this computer and the camera."""
    if target is not None and not udev:
        raise click.UsageError("--write goes with --udev.")
    if udev:
        return _give_rule(target)
    with Console(stderr=True).status("Looking around"):
        findings = check_up(find_cameras, default_log_dir())
    if as_json:
        for finding in findings:
            print(json.dumps(asdict(finding)))
    else:
        console = Console(soft_wrap=True)
        for finding in findings:
            console.print(Text(f"{'ok' if finding.well else '!!'}  {finding.name:11} {finding.sentence}"))
            if finding.todo:
                console.print(Text(f"    {'':11} {finding.todo}"))
    return ExitCode.DONE if all(finding.well for finding in findings) else ExitCode.FOUND


def _give_rule(target: Path | None) -> ExitCode:
    talk = Console(stderr=True)
    if target is None:
        print(UDEV_RULE, end="")
        talk.print(f"Put this into {UDEV_PATH} (as the administrator), then replug the camera.")
        return ExitCode.DONE
    if target.exists() and target.read_text(encoding="utf-8", errors="replace") == UDEV_RULE:
        talk.print(f"{target} holds the rule already.")
        return ExitCode.DONE
    try:
        with target.open("x", encoding="utf-8") as file:
            file.write(UDEV_RULE)
    except OSError as error:
        raise StorageError(
            f"The rule could not be written to {target}: {error.strerror}.",
            safe="Nothing was changed.",
            todo="Run this as the administrator, or choose a file that does not exist yet.",
        ) from None
    talk.print(f"Written to {target}. Run `udevadm control --reload` as the administrator, then replug the camera.")
    return ExitCode.DONE
