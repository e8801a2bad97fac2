"""Dust in a roll's pictures: looked for where a recipe asks for it, and over the roll what sits still on the rig."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from tethercap.batch.find_frame import find_frame
from tethercap.batch.job import ConversionJob, PackedMask
from tethercap.batch.pools import death_told
from tethercap.convert.crop import Layout
from tethercap.convert.dust import find_dust
from tethercap.convert.dust_repair import FEWEST_FRAMES, STILL_LIMITS, repair, still_dust
from tethercap.convert.pipeline import Step
from tethercap.convert.recipe import Dust
from tethercap.errors import PictureError
from tethercap.geometry import QuadPx
from tethercap.image_files.png import write_mask
from tethercap.image_files.raw import read_raw
from tethercap.pictures import RawPicture, U8Array


@dataclass(frozen=True, slots=True, eq=False)
class Dusted:
    """A RAW that was looked through for dust."""

    raw: RawPicture
    """Repaired, if that was asked for."""
    cells: U8Array
    """Where the dust is, per 2 x 2 cell of the mosaic, 1 = dust."""
    step: Step
    """For the record of the conversion."""
    warnings: tuple[str, ...]


def look_for_dust(raw: RawPicture, corners: QuadPx | None, job: ConversionJob, frame_long_mm: float) -> Dusted | None:
    """Look for dust, and repair it if the recipe says so; None where it says that nothing is to be done."""
    if job.recipe.dust is Dust.KEEP:
        return None
    found = find_dust(raw, corners, _mm_per_px(raw, corners, frame_long_mm))
    cells, still = found.cells, 0
    if job.still_dust is not None and job.still_dust.shape == cells.shape:
        on_rig = job.still_dust.unpacked()
        still = cv2.connectedComponents(on_rig, connectivity=8)[0] - 1
        cells = np.asarray(cells | on_rig, np.uint8)
    is_repaired = job.recipe.dust is Dust.REPAIR
    step: Step = (
        "dust",
        {"specks": found.specks, "still_on_rig": still, "left_alone": found.left_alone, "repaired": is_repaired},
    )
    warnings: tuple[str, ...] = ()
    if found.left_alone:
        warnings = (f"{found.left_alone} specks lie so close together that they may be the picture's own: left alone.",)
    return Dusted(repair(raw, cells, corners) if is_repaired else raw, cells, step, warnings)


def _mm_per_px(raw: RawPicture, corners: QuadPx | None, frame_long_mm: float) -> float:
    if corners is None:
        # Nobody knows how much film the picture shows; it is usually little more than the frame.
        return float(1.1 * frame_long_mm / max(raw.mosaic.shape))
    points = corners.as_array()
    sides = [float(np.hypot(*(points[(k + 1) % 4] - points[k]))) for k in range(4)]
    return float(frame_long_mm / max((sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2))


def write_dust_mask(path: Path, cells: U8Array, layout: Layout) -> None:
    """Write where dust is in the finished picture, as large as that, white = dust.

    Raises
    ------
    StorageError
    """
    whole = cells if layout.half_size else np.repeat(np.repeat(cells, 2, axis=0), 2, axis=1)
    if layout.to_source is not None:
        flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        whole = np.asarray(cv2.warpPerspective(whole, np.array(layout.to_source), layout.size, flags=flags), np.uint8)
    write_mask(path, np.ascontiguousarray(layout.turned(whole)))


def maybe_dust(job: ConversionJob, frame_long_mm: float) -> PackedMask | None:
    """What may be dust in one picture, looked for boldly; None where the picture cannot be read."""
    try:
        raw = read_raw(job.raw_path)
    except PictureError:
        return None
    corners = job.cut_by
    if corners is None and job.find_frame:
        corners = find_frame(raw, job.film_kind, job.format_id, job.shared_frame)
    found = find_dust(raw, corners, _mm_per_px(raw, corners, frame_long_mm), STILL_LIMITS)
    return PackedMask.of(found.cells)


def with_still_dust(
    jobs: Sequence[ConversionJob],
    pool: Executor,
    *,
    frame_long_mm: Callable[[str | None], float],
    on_done: Callable[[], None] = lambda: None,
) -> list[ConversionJob]:
    """Give the jobs that look for dust what sits still on the rig, where there are frames enough to tell.

    Parameters
    ----------
    jobs : sequence of ConversionJob
        Of one roll, one rig.
    pool : Executor
    frame_long_mm : callable
        Longer side of a format's frame.
    on_done : callable
        Called after each picture that was looked at.
    """
    looking = [job for job in jobs if job.recipe.dust is not Dust.KEEP]
    if len(looking) < FEWEST_FRAMES:
        return list(jobs)
    long_mm = [frame_long_mm(job.format_id) for job in looking]
    shape: tuple[int, int] | None = None
    counted = 0

    def masks() -> Iterator[U8Array]:
        nonlocal shape, counted
        for packed in pool.map(maybe_dust, looking, long_mm):
            on_done()
            if packed is None or (shape is not None and packed.shape != shape):
                continue
            shape, counted = packed.shape, counted + 1
            yield packed.unpacked()

    with death_told("dust was looked for"):
        still = still_dust(masks(), len(looking))
    if still is None or counted < FEWEST_FRAMES:
        return list(jobs)
    packed = PackedMask.of(still)
    return [replace(job, still_dust=packed) if job.recipe.dust is not Dust.KEEP else job for job in jobs]
