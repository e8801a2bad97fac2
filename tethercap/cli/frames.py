"""`tethercap frames`: how a roll's frames stand, and corrections to their numbers."""

import json
from pathlib import Path

import click

from tethercap.cli._progress import say
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import RollNameError
from tethercap.image_files.metadata import embed, xmp_packet
from tethercap.roll.folder import FrameRecord, Roll
from tethercap.roll.names import FrameId, parse_frame_range
from tethercap.roll.state import second_id
from tethercap.roll.view import read_roll

_MOVES = (
    'Give frames other numbers: "7=9" one, "7-12=13" some the numbers from 13 on, "12-7=1" the other way round, '
    '"strip 2=13" all of a strip.'
)


@click.command()
@click.argument("roll", type=click.Path(path_type=Path))
@click.option("--renumber", metavar="FRAMES=FIRST", help=_MOVES)
@click.option("--insert", metavar="FRAME", help="Make room for a frame that was passed over; those after it move up.")
@click.option("--pick", metavar="FRAME=TAKE", multiple=True, help="Let this take stand for its frame.")
@click.option("--skip", metavar="FRAME[=WHY]", multiple=True, help="Note that a frame is left out.")
@click.option("--blank", metavar="FRAME", multiple=True, help="Note that a frame has no picture on it.")
@click.option("--reopen", metavar="FRAME", multiple=True, help="Take back that a frame is left out or blank.")
@click.option("--next", "next_frame", metavar="FRAME", help="Number of the next picture.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a frame.")
def frames(
    roll: Path,
    renumber: str | None,
    insert: str | None,
    pick: tuple[str, ...],
    skip: tuple[str, ...],
    blank: tuple[str, ...],
    reopen: tuple[str, ...],
    next_frame: str | None,
    as_json: bool,
) -> ExitCode:
    """List the frames of ROLL: number, status, takes, file. With options, correct their numbers and marks first.

    Files are renamed so that a crash in the middle is made good; nothing is overwritten. Listing alone works while
    the roll is being captured.
    """
    if any((renumber, insert, pick, skip, blank, reopen, next_frame)):
        with Roll.open(roll, sidecar=xmp_packet) as opened:
            for note in opened.opening_notes:
                say(note)
            _mark(opened, pick, skip, blank, reopen)
            if renumber:
                opened.renumber(_moves(renumber, opened))
            if insert:
                opened.insert(insert)
            if renumber or insert:
                opened.describe(embed)
                say("Numbers have changed; make the contact sheet again with tethercap sheet.")
            if next_frame:
                opened.go_to(next_frame)
    view = read_roll(roll)
    for trouble in view.troubles:
        say(trouble)
    for frame in view.frames.values():
        second = second_id(view.frames, frame.frame_id)
        print(json.dumps(_as_data(frame, second)) if as_json else _as_text(frame, second))
    if not as_json:
        say(f"The next picture is frame {view.next_frame_id}.")
    return ExitCode.DONE


def _mark(
    roll: Roll, pick: tuple[str, ...], skip: tuple[str, ...], blank: tuple[str, ...], reopen: tuple[str, ...]
) -> None:
    for text in pick:
        frame, _, take = text.partition("=")
        if not take.isdecimal():
            raise click.BadParameter(f"{text!r} names no take; write FRAME=TAKE.", param_hint="--pick")
        roll.pick(frame, int(take))
    for text in skip:
        frame, _, why = text.partition("=")
        if any("\ud800" <= sign <= "\udfff" for sign in why):  # bytes of a command line that are no UTF-8
            raise click.BadParameter(f"{why!r} is no text that can be kept; write it in UTF-8.", param_hint="--skip")
        roll.skip(frame, why)
    for frame in blank:
        roll.mark_blank(frame)
    for frame in reopen:
        roll.reopen(frame)


def _moves(text: str, roll: Roll) -> dict[FrameId, FrameId]:
    """Moves meant by "7-12=13", backwards "12-7=1", or "strip 2=13"; only frames that are there move."""
    span, equals, first = text.partition("=")
    if not equals:
        raise click.BadParameter(f"{text!r} has no =; write FRAMES=FIRST.", param_hint="--renumber")
    strip = span.removeprefix("strip").strip()
    try:
        old_ids = _span(_of_strip(strip, roll) if strip != span.strip() else span, roll.setup.by_halves)
        new_id = FrameId.parse(first)
        new_ids = [new_id.next(step, by_halves=roll.setup.by_halves) for step in range(len(old_ids))]
    except RollNameError as error:
        raise click.BadParameter(str(error), param_hint="--renumber") from error
    moves = dict(zip(old_ids, new_ids, strict=True))
    if not moves.keys() & roll.frames.keys():
        raise click.BadParameter(f"The roll has no frame {span.strip()}.", param_hint="--renumber")
    return moves


def _of_strip(number: str, roll: Roll) -> str:
    """First and last frame whose pictures were taken of a strip, like "7-12"; those passed over lie between them."""
    found = [
        frame_id
        for frame_id, frame in roll.frames.items()
        if any(str(take.filed.strip) == number for take in frame.takes)
    ]
    if not found:
        raise click.BadParameter(f"No frame of the roll is of strip {number}.", param_hint="--renumber")
    return f"{found[0]}-{found[-1]}"


def _span(text: str, by_halves: bool) -> list[FrameId]:
    one, dash, other = text.partition("-")
    is_backwards = bool(dash) and FrameId.parse(other) < FrameId.parse(one)
    frame_id, last = parse_frame_range(f"{other}-{one}" if is_backwards else text)
    ids = []
    while frame_id <= last:
        ids.append(frame_id)
        frame_id = frame_id.next(1, by_halves=by_halves)
    return ids[::-1] if is_backwards else ids


def _as_data(frame: FrameRecord, second: FrameId | None) -> dict[str, object]:
    chosen = frame.chosen
    return {
        "frame": str(frame.frame_id),
        "second": None if second is None else str(second),
        "status": frame.status.value,
        "take": chosen.number if chosen else None,
        "file": chosen.filed.file if chosen else None,
        "takes": [
            {
                "take": take.number,
                "file": take.filed.file,
                "accepted": take.filed.accepted,
                "forced": take.filed.forced,
                "sha256": take.filed.sha256,
                "positive": take.converted.positive if take.converted else None,
                "second_positive": take.second.positive if take.second else None,
                "findings": [finding.text for finding in take.filed.findings],
            }
            for take in frame.takes
        ],
        "why": frame.skipped_why,
    }


def _as_text(frame: FrameRecord, second: FrameId | None) -> str:
    chosen = frame.chosen
    number = str(frame.frame_id) if second is None else f"{frame.frame_id}, {second}"
    takes = f"{len(frame.takes)} take{'s' if len(frame.takes) != 1 else ''}" if frame.takes else ""
    words = (f"{number:>4}", f"{frame.status.value:<8}", f"{takes:<8}", chosen.filed.file if chosen else "")
    return "  ".join((*words, frame.skipped_why or "")).rstrip()
