"""Do one conversion: read the RAW, make the pixels, write positive and proof."""

import json
import time
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from tethercap import __version__
from tethercap.batch.archive import write_archive
from tethercap.batch.bands import with_bands
from tethercap.batch.dust import Dusted, look_for_dust, write_dust_mask
from tethercap.batch.exposures import open_exposures
from tethercap.batch.find_frame import find_frame
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.convert.cells import exposure_trouble
from tethercap.convert.film_base import FilmBase
from tethercap.convert.pipeline import ConversionPlan, RollLook, Step, plan_conversion
from tethercap.convert.recipe import Border
from tethercap.convert.render import render
from tethercap.geometry import QuadPx, SizePx
from tethercap.image_files.jpeg import write_jpeg
from tethercap.image_files.metadata import xmp_packet
from tethercap.image_files.tiff import PutRows, TiffOptions, fill_positive
from tethercap.pictures import RawPicture, U8Array, U16Array
from tethercap.profile_files import load_film_format
from tethercap.roll.fixity import file_sha256

_USUAL_LONG_MM = 36.0
_FULL_JPEG_QUALITY = 95
"""Of JPEGs at full size: what a person keeps or prints."""


def convert_file(job: ConversionJob) -> ConversionResult:
    """Convert one RAW file and write what the job asks for.

    Parameters
    ----------
    job : ConversionJob

    Returns
    -------
    ConversionResult

    Raises
    ------
    PictureError
        If the RAW cannot be read.
    ConversionError
        If it can be read and not converted.
    StorageError
        If a result cannot be written; the RAW is never touched.
    """
    started_s = time.perf_counter()
    with open_exposures(job) as (raw, merging):
        return _convert(job, raw, merging, started_s)


def _convert(job: ConversionJob, raw: RawPicture, merging: tuple[Step, ...], started_s: float) -> ConversionResult:
    corners, warnings = _corners(job, raw)
    warnings += exposure_trouble(raw, corners)
    long_mm = frame_long_mm(job.format_id)
    dusted = look_for_dust(raw, corners, job, long_mm)
    look = RollLook(
        base=None if job.recipe.own_base else job.base,
        model=job.model,
        flat=job.flat,
        exposure=job.exposure,
        frame_long_mm=long_mm,
    )
    film = raw if dusted is None else dusted.raw
    plan = plan_conversion(film, job.recipe, corners=corners, film_kind=job.film_kind, look=look)
    if dusted is not None:
        warnings += dusted.warnings
    told = (*warnings, *plan.warnings) if job.told_before is None else job.told_before
    plan = replace(plan, steps=(*merging, *([dusted.step] if dusted is not None else []), *plan.steps))
    xmp = xmp_packet({**job.properties, **how_made(plan.steps, told)})
    positive_sha256, proof_sha256 = _write(job, plan, film, xmp)
    base = plan.base
    if job.archive is not None and film is not raw:
        # Not even the base that an archive picture states is measured on film that was painted over.
        base = plan_conversion(raw, job.recipe, corners=corners, film_kind=job.film_kind, look=look).base
    further = _write_further(job, raw, plan, base, corners, dusted)
    return ConversionResult(
        raw_path=job.raw_path,
        positive=job.positive_path,
        proof=job.proof_path,
        seconds=time.perf_counter() - started_s,
        size=plan.layout.turned_size,
        warnings=told,
        base=plan.base,
        steps=plan.steps,
        corners=corners,
        recipe=job.recipe.id,
        positive_sha256=positive_sha256,
        proof_sha256=proof_sha256,
        further=further,
        further_sha256={what: file_sha256(path) for what, path in further.items()} if job.with_sha256 else {},
    )


def _write_further(
    job: ConversionJob,
    raw: RawPicture,
    plan: ConversionPlan,
    base: FilmBase,
    corners: QuadPx | None,
    dusted: Dusted | None,
) -> dict[str, Path]:
    """Write what is wanted besides positive and proof; what it is -> where. Archive pictures keep their dust."""
    further: dict[str, Path] = {}
    if job.jpeg_path is not None:
        further["jpeg"] = job.jpeg_path
    if job.archive is not None and job.archive_path is not None:
        long_mm = frame_long_mm(job.format_id)
        write_archive(job.archive_path, job.archive, job, raw, corners=corners, base=base, frame_long_mm=long_mm)
        further[job.archive.value] = job.archive_path
    if dusted is not None and job.dust_path is not None:
        write_dust_mask(job.dust_path, dusted.cells, plan.layout)
        further["dust"] = job.dust_path
    return further


def _corners(job: ConversionJob, raw: RawPicture) -> tuple[QuadPx | None, tuple[str, ...]]:
    if job.cut_by is not None or job.recipe.border is Border.WHOLE:
        return job.cut_by, ()
    # Where a roll was looked at, its frames were looked for then.
    found = find_frame(raw, job.film_kind, job.format_id, job.shared_frame) if job.find_frame else None
    if found is None:
        return None, ("The frame was not found in the picture, so nothing was cut off.",)
    return found, ()


def frame_long_mm(format_id: str | None) -> float:
    """Longer side of a format's frame on the film, mm; that of 135 film where the format is not known."""
    if format_id is None:
        return _USUAL_LONG_MM
    film_format = load_film_format(format_id)
    return max(film_format.along_mm, film_format.across_mm)


def how_made(steps: Sequence[Step], warnings: Sequence[str]) -> dict[str, object]:
    """Properties that tell how a positive was made."""
    return {
        "Xmp.xmp.CreatorTool": f"tethercap {__version__}",
        "Xmp.tethercap.Steps": [json.dumps({"step": name, **parameters}, sort_keys=True) for name, parameters in steps],
        "Xmp.tethercap.Warnings": list(warnings),
    }


def _write(job: ConversionJob, plan: ConversionPlan, raw: RawPicture, xmp: bytes) -> tuple[str, str]:
    """Write positive, proof and full-size JPEG; checksums of the first two where they are asked for, else empty."""
    jpegs = jpegs_of(job, plan.layout.turned_size, is_half=plan.half_size)
    with ThreadPoolExecutor(1, thread_name_prefix="jpegs") as packing:
        packed: list[Future[None]] = []

        def fill(put: PutRows) -> None:
            def put_all(first: int, rows: U16Array) -> None:
                put(first, rows)
                for jpeg in jpegs:
                    jpeg.pixels.put(first, rows)

            with_bands(job.threads, lambda run_bands: render(plan, raw, job.flat, put_all, run_bands))
            # The JPEGs are packed while the positive goes to the disk.
            packed.append(packing.submit(write_jpegs, jpegs, job, xmp))

        of_positive = ""
        if job.positive_path is None:
            fill(lambda _first, _rows: None)
        else:
            options = TiffOptions(
                colour_space=plan.colour_space, compression=job.compression, properties=job.properties, xmp=xmp
            )
            of_positive = fill_positive(
                job.positive_path, plan.layout.turned_size, options, fill, with_sha256=job.with_sha256
            )
        for each in packed:
            each.result()
    of_proof = file_sha256(job.proof_path) if job.with_sha256 and job.proof_path is not None else ""
    return of_positive, of_proof


@dataclass(frozen=True, slots=True, eq=False)
class Jpeg:
    """A JPEG that is written beside a positive."""

    path: Path
    pixels: "EightBit"
    quality: int
    long_side_px: int | None = None
    """At most so large; None leaves it as it is gathered."""


def jpegs_of(job: ConversionJob, size: SizePx, *, is_half: bool) -> list[Jpeg]:
    """List the JPEGs that a job wants.

    Parameters
    ----------
    job : ConversionJob
    size : SizePx
        Of the positive.
    is_half : bool
        It is at half size already, so a proof is as large.
    """
    jpegs = []
    if job.proof_path is not None:
        pixels = EightBit(size, half=not is_half)
        jpegs.append(Jpeg(job.proof_path, pixels, job.jpeg_quality, job.proof_long_side_px))
    if job.jpeg_path is not None:
        jpegs.append(Jpeg(job.jpeg_path, EightBit(size, half=False), _FULL_JPEG_QUALITY))
    return jpegs


def write_jpegs(jpegs: Sequence[Jpeg], job: ConversionJob, xmp: bytes) -> None:
    """Write JPEGs whose pixels are gathered, in the colour space and with the metadata of a job's positive.

    Raises
    ------
    StorageError
    """
    for jpeg in jpegs:
        write_jpeg(
            jpeg.path,
            jpeg.pixels.picture(jpeg.long_side_px),
            quality=jpeg.quality,
            colour_space=job.recipe.space,
            xmp=xmp,
            properties=job.properties,
        )


class EightBit:
    """An 8-bit picture gathered from the rows of a positive as they are made.

    Parameters
    ----------
    size : SizePx
        Of the positive.
    half : bool
        Halve it: one pixel for each 2 x 2 of the positive.
    """

    def __init__(self, size: SizePx, *, half: bool) -> None:
        self._step = 2 if half else 1
        shape = (max(size.height_px // self._step, 1), max(size.width_px // self._step, 1), 3)
        self._pixels_bgr = np.zeros(shape, np.uint8)
        self._singles: dict[int, U16Array] = {}
        """Number of a pair -> the row of it that came first."""

    def put(self, first: int, rows: U16Array) -> None:
        """Take rows of the positive, shape (n, width, 3), from row `first` on; in any order, from any thread."""
        before = min(-first % self._step, len(rows))
        paired = (len(rows) - before) // self._step * self._step
        if before:
            self._put_single(first, rows[0])
        self._put_paired(first + before, rows[before : before + paired])
        if before + paired < len(rows):
            self._put_single(first + before + paired, rows[-1])

    def _put_single(self, number: int, row: U16Array) -> None:
        """Keep a row until the other of its pair is there: a picture that stands on its head comes in odd bands."""
        mine = row.copy()
        other = self._singles.setdefault(number // 2, mine)
        if other is not mine:
            self._put_paired(number // 2 * 2, np.stack((other, mine) if number % 2 else (mine, other)))

    def _put_paired(self, first: int, rows: U16Array) -> None:
        height, width = self._pixels_bgr.shape[:2]
        start = first // self._step
        number = min(len(rows) // self._step, height - start)
        if number <= 0:
            return
        small = rows[: number * self._step, : width * self._step]
        if self._step > 1:
            small = np.asarray(cv2.resize(small, (width, number), interpolation=cv2.INTER_AREA), np.uint16)
        eight = cv2.convertScaleAbs(small, alpha=255.0 / 65535.0)
        self._pixels_bgr[start : start + number] = cv2.cvtColor(eight, cv2.COLOR_RGB2BGR)

    def picture(self, long_side_px: int | None = None) -> U8Array:
        """Hand out the picture, at most so large, shape (height, width, 3), blue-green-red."""
        height, width = self._pixels_bgr.shape[:2]
        if long_side_px is None or long_side_px >= max(height, width):
            return self._pixels_bgr
        factor = long_side_px / max(height, width)
        size = (max(round(width * factor), 1), max(round(height * factor), 1))
        return np.asarray(cv2.resize(self._pixels_bgr, size, interpolation=cv2.INTER_AREA), np.uint8)
