"""A frame photographed in overlapping parts, converted and put together."""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.together import convert_each, share_look
from tethercap.batch.work import how_made, jpegs_of, write_jpegs
from tethercap.convert.calibrate import Measured
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
    parts: Sequence[ConversionJob],
    whole: ConversionJob,
    pool: Executor,
    *,
    on_done: Callable[[], None] = lambda: None,
) -> ConversionResult:
    """Convert overlapping parts of one frame with one look, and put them together into one positive.

    Parameters
    ----------
    parts : sequence of ConversionJob
        One for each part, at least two; where they write is not looked at.
    whole : ConversionJob
        Where the positive, its proof and JPEG are written and with what metadata; one of the parts, or like them.
    pool : Executor
    on_done : callable
        Called after each part.

    Raises
    ------
    TethercapError
        If a part cannot be converted, or lies beside none of the others.
    ValueError
        If there is no place for the positive.
    """
    target = whole.positive_path
    if target is None:
        raise ValueError("the whole has no positive_path")
    model = whole.model
    measured = None if model is None else Measured(model)
    # Base and exposure are the parts' own; curves and colours are the roll's where one was looked at.
    shared = share_look(
        [_part_job(job, None) for job in parts],
        pool,
        calibration=lambda _kind: None if measured is None else lambda _base: measured,
    )
    # Each part's exposure would differ; that of the brightest is the frame's.
    exposures = [job.exposure for job in shared if job.exposure is not None]
    exposure = min(exposures, key=lambda each: each.gain) if exposures else None
    # Names that a roll takes away when it is opened, should a run be cut off here.
    places = [target.with_name(f".{target.name}.{number}.part") for number in range(len(parts))]
    work = [replace(job, positive_path=place, exposure=exposure) for job, place in zip(shared, places, strict=True)]
    results: list[ConversionResult] = []
    try:
        for result in convert_each(work, pool):
            if isinstance(result, TethercapError):
                raise result
            results.append(result)
            on_done()
        return _put_together(places, results, whole, target)
    finally:
        for place in places:
            place.unlink(missing_ok=True)


def _part_job(job: ConversionJob, place: Path | None) -> ConversionJob:
    recipe: Recipe = replace(job.recipe, border=Border.WHOLE)
    return replace(
        job, positive_path=place, proof_path=None, jpeg_path=None, archive=None, dust_path=None, recipe=recipe,
        find_frame=False, corners=None, compression=Compression.NONE,
    )  # fmt: skip


def _put_together(
    places: Sequence[Path], results: Sequence[ConversionResult], whole: ConversionJob, target: Path
) -> ConversionResult:
    tiles = [map_tiff(place) for place in places]
    sizes = [SizePx(tile.shape[1], tile.shape[0]) for tile in tiles]
    mosaic = place_tiles([_preview(tile) for tile in tiles], sizes)
    step: Step = (
        "stitch",
        {"files": [result.raw_path.name for result in results], "mismatch_px": round(mosaic.mismatch_px, 3)},
    )
    steps = (*results[0].steps, step)
    warnings = tuple(dict.fromkeys(text for result in results for text in result.warnings))
    xmp = xmp_packet({**whole.properties, **how_made(steps, warnings)})
    difference = _write_whole(mosaic, tiles, whole, target, xmp)
    if difference > _SEAM_SHARE:
        warnings += ("The parts differ in brightness where they overlap; a flat field (--flat) mends that.",)
    return replace(
        results[0],
        raw_path=whole.raw_path,
        positive=target,
        proof=whole.proof_path,
        size=mosaic.size,
        steps=steps,
        warnings=warnings,
        corners=None,
        seconds=sum(result.seconds for result in results),
        positive_sha256=file_sha256(target),
        proof_sha256=file_sha256(whole.proof_path) if whole.proof_path is not None else "",
        further={"jpeg": whole.jpeg_path} if whole.jpeg_path is not None else {},
        further_sha256={"jpeg": file_sha256(whole.jpeg_path)} if whole.jpeg_path is not None else {},
    )


def _write_whole(mosaic: Mosaic, tiles: Sequence[U16Array], whole: ConversionJob, target: Path, xmp: bytes) -> float:
    options = TiffOptions(
        colour_space=whole.recipe.space, compression=whole.compression, properties=whole.properties, xmp=xmp
    )
    jpegs = jpegs_of(whole, mosaic.size, is_half=whole.recipe.half_size)
    difference = 0.0

    def fill(put: Callable[[int, U16Array], None]) -> None:
        def put_all(first: int, rows: U16Array) -> None:
            put(first, rows)
            for jpeg in jpegs:
                jpeg.pixels.put(first, rows)

        nonlocal difference
        difference = blend_tiles(mosaic, tiles, put_all)

    fill_positive(target, mosaic.size, options, fill)
    write_jpegs(jpegs, whole, xmp)
    return difference


def _preview(tile: U16Array) -> U8Array:
    step = max(round(max(tile.shape[:2]) / _PREVIEW_LONG_SIDE_PX), 1)
    size = (tile.shape[1] // step, tile.shape[0] // step)
    small = cv2.resize(np.ascontiguousarray(tile), size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(np.asarray(small / 257.0, np.uint8), cv2.COLOR_RGB2GRAY), np.uint8)
