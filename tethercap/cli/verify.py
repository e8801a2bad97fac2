"""`tethercap verify`: a roll's files against its manifest, its record against its own checksums."""

import json
from pathlib import Path

import click

from tethercap.cli._progress import byte_bar, say
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import exit_code_for
from tethercap.errors import TethercapError
from tethercap.roll.fixity import FixityReport, read_folder_manifest, total_bytes
from tethercap.roll.fixity import verify as verify_roll

_SENTENCES = {
    "missing": "missing",
    "changed": "changed since it was filed",
    "unreadable": "cannot be read",
    "unlisted": "in the record, but not in the manifest; opening the roll with capture or describe puts that right",
    "record_damage": "cannot be trusted; the rest of the record is used",
    "manifest_damage": "not a line of a manifest",
    "extra": "not in the manifest",
}
"""Field of the report -> what is said of each entry."""


@click.command()
@click.argument("rolls", metavar="ROLL...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a roll.")
def verify(rolls: tuple[Path, ...], as_json: bool) -> ExitCode:
    """Check every file of each ROLL against its manifest, and the record against its own checksums.

    Changes nothing. The same check without tethercap, in the roll's folder: sha256sum -c manifest-sha256.txt

    Exit codes: 0 all is as it was filed, 1 something is missing, changed or damaged, 4 or 5 a roll could not be read.
    """
    code = ExitCode.DONE
    for folder in rolls:
        try:
            report = _verified(folder)
        except TethercapError as error:
            # The rolls that follow are looked at all the same.
            say(str(error))
            code = max(code, exit_code_for(error))
            continue
        print(json.dumps(_as_data(report)) if as_json else _as_text(report))
        if not report.is_sound:
            code = max(code, ExitCode.FOUND)
    return code


def _verified(folder: Path) -> FixityReport:
    sums, _ = read_folder_manifest(folder)
    with byte_bar(f"Checking {folder.name}", total_bytes(folder, sums)) as progress:
        return verify_roll(folder, progress)


def _as_data(report: FixityReport) -> dict[str, object]:
    lists = {name: list(getattr(report, name)) for name in _SENTENCES}
    return {
        "roll": str(report.folder),
        "sound": report.is_sound,
        "checked": report.checked,
        **lists,
        "in_use": report.in_use,
    }


def _printable(name: str) -> str:
    """Name with what a terminal cannot show, or would obey, written out."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in name)


def _as_text(report: FixityReport) -> str:
    entries = ((entry, sentence) for name, sentence in _SENTENCES.items() for entry in getattr(report, name))
    lines = [f"{_printable(entry)}: {sentence}" for entry, sentence in entries]
    if report.in_use:
        lines.append("The roll is in use, or was cut off and not opened since: files may be on their way.")
    verdict = "as it was filed" if report.is_sound else "NOT as it was filed"
    return "\n".join([*lines, f"{report.folder}: {report.checked} files fit; the roll is {verdict}."])
