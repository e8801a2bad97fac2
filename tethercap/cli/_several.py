"""`tethercap convert` for frames that are more, or less, than one RAW: brackets, parts, two frames in one shot."""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import click

from tethercap.batch.find_pair import HALF_FRAME, FoundPair, find_pair_in_file
from tethercap.batch.job import ConversionJob
from tethercap.batch.pools import death_told
from tethercap.batch.roll_jobs import half_job
from tethercap.cli._rolls import Item
from tethercap.errors import ConversionError, PictureError, RollExistsError, TethercapError
from tethercap.roll.metadata import positive_properties


def groups_of(items: Sequence[Item], each: int | None) -> list[list[Item]]:
    """Put items that follow each other into groups, one for each frame.

    Raises
    ------
    click.UsageError
        If they do not make whole groups of two or more.
    """
    size = each or len(items)
    if len(items) < 2:
        raise click.UsageError("A frame of several needs two files or more; there is only one.")
    if len(items) % size:
        raise click.UsageError(f"{len(items)} files do not make groups of {size}; a frame needs two or more of them.")
    return [list(items[first : first + size]) for first in range(0, len(items), size)]


def merged_items(items: Sequence[Item], each: int | None) -> list[Item]:
    """Make one item of all exposures of a frame: the takes of a roll's frame, or files that follow each other.

    Files are named by the first of them. Frames of a roll with a single take that is good enough stay as they are.

    Raises
    ------
    click.UsageError
        If there is nothing to merge.
    """
    merged = []
    for group in _gathered(items, each, "--merge"):
        first, further = group[0], tuple(item.job.raw_path for item in group[1:])
        if first.roll_job is None:
            first = Item(_renamed(first.job, "_merged"))
        merged.append(replace(first, job=replace(first.job, further_raws=further)))
    return merged


def stitched_items(items: Sequence[Item], each: int | None) -> list[Item]:
    """Make one item of all parts of a frame; as in `merged_items`."""
    stitched = []
    for group in _gathered(items, each, "--stitch"):
        first, parts = group[0], tuple(item.job for item in group)
        if first.roll_job is None:
            first = Item(_renamed(first.job, "_stitched"))
        stitched.append(replace(first, parts=parts if len(parts) > 1 else ()))
    return stitched


def _gathered(items: Sequence[Item], each: int | None, option: str) -> list[list[Item]]:
    """Groups of items that one positive is made of, the item that stands for it first."""
    of_rolls = [item for item in items if item.roll_job is not None]
    groups = [_takes_of(item) for item in of_rolls]
    if of_rolls and all(len(group) == 1 for group in groups):
        raise click.UsageError(f"{option}: none of these frames has two takes that are good enough.")
    files = [item for item in items if item.roll_job is None]
    return [*groups, *(groups_of(files, each) if files else [])]


def _takes_of(item: Item) -> list[Item]:
    """Give an item of a roll's frame for each take that was accepted, the one that stands for the frame first."""
    roll_job = item.roll_job
    if roll_job is None:
        return [item]
    roll, frame_id, chosen = roll_job.roll, roll_job.frame_id, roll_job.take
    others = [take for take in roll.frames[frame_id].takes if take.filed.accepted and take.number != chosen.number]
    if not others:
        return [item]
    numbers = tuple(sorted(take.number for take in (chosen, *others)))
    properties = positive_properties(roll.setup, roll_job.number, chosen, further=others)
    first = Item(replace(item.job, properties=properties), replace(roll_job, takes=numbers))
    return [first, *(Item(replace(item.job, raw_path=roll.path / take.filed.file)) for take in others)]


def _renamed(job: ConversionJob, ending: str) -> ConversionJob:
    """Give the job with its files' stems ending so."""

    def renamed(path: Path | None) -> Path | None:
        if path is None:
            return None
        stem = job.raw_path.stem
        return path.with_name(path.name.replace(stem, stem + ending, 1))

    return replace(
        job,
        positive_path=renamed(job.positive_path),
        proof_path=renamed(job.proof_path),
        jpeg_path=renamed(job.jpeg_path),
        archive_path=renamed(job.archive_path),
        dust_path=renamed(job.dust_path),
    )


Unpaired = tuple[ConversionJob, TethercapError]
"""A RAW in which two frames were not found, and why."""


def paired_items(items: Sequence[Item], pool: Executor, *, is_right_first: bool) -> tuple[list[Item], list[Unpaired]]:
    """Make two items of each, one for each of the two frames in it: 7 and 7A in a roll, NAME and NAMEA of files.

    Raises
    ------
    TethercapError
        If a roll has a frame of the second number already.
    click.UsageError
        If only the second half frames of shots are wanted.
    """
    # Those that were cut before are cut anew.
    items = [item for item in items if item.roll_job is None or not item.roll_job.is_second]
    if not items:
        raise click.UsageError("--pairs cuts whole shots: name them by the number of their first frame.")
    formats = [item.job.format_id or HALF_FRAME for item in items]
    if any(item.roll_job is not None for item in items):
        # A roll that was captured two frames at a time says the format of the camera's view, not of the frames.
        formats = [HALF_FRAME] * len(items)
    jobs = [item.job for item in items]
    paired: list[Item] = []
    unpaired: list[Unpaired] = []
    with death_told("pairs of frames were looked for"):
        found = [
            pool.submit(find_pair_in_file, job.raw_path, job.film_kind, film_format)
            for job, film_format in zip(jobs, formats, strict=True)
        ]
        for item, pair in zip(items, found, strict=True):
            try:
                two = pair.result()
            except (ConversionError, PictureError) as error:
                unpaired.append((item.job, error))
                continue
            paired += _two_of(item, two, is_right_first=is_right_first)
    return paired, unpaired


def _two_of(item: Item, pair: FoundPair, *, is_right_first: bool) -> list[Item]:
    first, second = (pair.second, pair.first) if is_right_first else (pair.first, pair.second)
    if item.roll_job is None:
        job = replace(item.job, find_frame=False, format_id=item.job.format_id or HALF_FRAME)
        return [Item(replace(job, corners=first)), Item(_renamed(replace(job, corners=second), "A"))]
    whole = replace(item.roll_job, job=item.job)
    if whole.frame_id.second in whole.roll.frames:
        raise RollExistsError(
            f"The roll has a frame {whole.frame_id.second} already, so the second frame of {whole.frame_id} has no "
            "number.",
            safe="Nothing was changed.",
            todo="Number the shots 1, 2, 3 ... (count_halves = false in roll.toml) to have room for 1A, 2A, 3A.",
        )
    halves = half_job(whole, first), half_job(whole, second, is_second=True)
    return [Item(half.job, half) for half in halves]
