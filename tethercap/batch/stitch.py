"""A frame photographed in overlapping parts, converted and put together."""

import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.together import convert_each, share_look
from tethercap.convert.pipeline import Step
from tethercap.convert.recipe import Border, Recipe
from tethercap.convert.tiles import Mosaic, blend_tiles, place_tiles
from tethercap.errors import TethercapError
from tethercap.geometry import SizePx
from tethercap.image_files.metadata import xmp_packet
from tethercap.image_files.tiff import Compression, TiffOptions, fill_positive, map_tiff
from tethercap.pictures import U8Array, U16Array
from tethercap.roll.fixity import file_sha256

_PREVIEW_LONG_SIDE_PX = 1600
_SEAM_SHARE = 0.015
"""Parts that differ by more than this where they overlap show a seam."""


def stitch(
    jobs: Sequence[ConversionJob], target: Path, pool: Executor, *, on_done: Callable[[], None] = lambda: None
) -> ConversionResult:
    """Convert overlapping parts of one frame with one look, and put them together into one positive.

    Parameters
    ----------
    jobs : sequence of ConversionJob
        One for each part, at least two; where they write is not looked at.
    target : Path
        TIFF to write.
    pool : Executor
    on_done : callable
        Called after each part.

    Raises
    ------
    TethercapError
        If a part cannot be converted, or lies beside none of the others.
    """
    shared = share_look([_part_job(job, None) for job in jobs], pool)
    # Each part's exposure would differ; that of the brightest is the frame's.
    exposures = [job.exposure for job in shared if job.exposure is not None]
    exposure = min(exposures, key=lambda each: each.gain) if exposures else None
    with tempfile.TemporaryDirectory(prefix=".parts-", dir=target.parent) as folder:
        places = [Path(folder) / f"{number}.tif" for number in range(len(jobs))]
        work = [replace(job, positive_path=place, exposure=exposure) for job, place in zip(shared, places, strict=True)]
        results: list[ConversionResult] = []
        for result in convert_each(work, pool):
            if isinstance(result, TethercapError):
                raise result
            results.append(result)
            on_done()
        return _put_together(places, results, jobs[0], target)


def _part_job(job: ConversionJob, place: Path | None) -> ConversionJob:
    recipe: Recipe = replace(job.recipe, border=Border.WHOLE)
    return replace(
        job, positive_path=place, proof_path=None, archive=None, recipe=recipe, find_frame=False, corners=None,
        compression=Compression.NONE,
    )  # fmt: skip


def _put_together(
    places: Sequence[Path], results: Sequence[ConversionResult], job: ConversionJob, target: Path
) -> ConversionResult:
    tiles = [map_tiff(place) for place in places]
    sizes = [SizePx(tile.shape[1], tile.shape[0]) for tile in tiles]
    mosaic = place_tiles([_preview(tile) for tile in tiles], sizes)
    step: Step = (
        "stitch",
        {"files": [result.raw_path.name for result in results], "mismatch_px": round(mosaic.mismatch_px, 3)},
    )
    steps = (*results[0].steps, step)
    difference = _write_whole(mosaic, tiles, job, target)
    warnings = tuple(dict.fromkeys(text for result in results for text in result.warnings))
    if difference > _SEAM_SHARE:
        warnings += ("The parts differ in brightness where they overlap; a flat field (--flat) mends that.",)
    seconds = sum(result.seconds for result in results)
    return replace(
        results[0], positive=target, proof=None, size=mosaic.size, steps=steps, warnings=warnings, corners=None,
        seconds=seconds, positive_sha256=file_sha256(target), proof_sha256="",
    )  # fmt: skip


def _write_whole(mosaic: Mosaic, tiles: Sequence[U16Array], job: ConversionJob, target: Path) -> float:
    options = TiffOptions(
        colour_space=job.recipe.space,
        compression=job.compression,
        properties=job.properties,
        xmp=xmp_packet(job.properties),
    )
    difference = 0.0

    def fill(put: Callable[[int, U16Array], None]) -> None:
        nonlocal difference
        difference = blend_tiles(mosaic, tiles, put)

    fill_positive(target, mosaic.size, options, fill)
    return difference


def _preview(tile: U16Array) -> U8Array:
    step = max(round(max(tile.shape[:2]) / _PREVIEW_LONG_SIDE_PX), 1)
    size = (tile.shape[1] // step, tile.shape[0] // step)
    small = cv2.resize(np.ascontiguousarray(tile), size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(np.asarray(small / 257.0, np.uint8), cv2.COLOR_RGB2GRAY), np.uint8)
