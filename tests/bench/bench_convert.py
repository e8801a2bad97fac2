"""Speed, memory and demosaic quality of conversion, each beside LibRaw's AHD in the same run.

Run ``python -m tests.bench.bench_convert``; ``--rounds N`` for steadier ratios, ``--folder /dev/shm`` for what is left
where there is no disk to wait for. Nothing is asserted: machines are busy.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import rawpy
import skimage

from tests.quality import colours
from tests.unit.convert.film_shots import BASE_COUNTS, density_of, raw_of
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.job import ConversionJob
from tethercap.batch.work import convert_file
from tethercap.convert.demosaic import demosaic
from tethercap.convert.film_base import FilmBase
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.convert.recipe import Border, Recipe
from tethercap.convert.usual_film import usual_film
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F64Array

_GRAIN = 0.02
_IN_ONE_THREAD = "AHD in one thread"


def film_density(width: int, height: int) -> F64Array:
    """Density of a photograph on orange-based film with grain, shape (height, width, 3)."""
    picture = cv2.imread(str(Path(skimage.__file__).parent / "data" / "astronaut.png"))
    large = cv2.resize(np.asarray(picture), (width, height), interpolation=cv2.INTER_CUBIC)[..., ::-1] / 255.0
    density = density_of(colours.srgb_decode(np.asarray(large)))
    grain = np.random.default_rng(1).standard_normal((height, width, 3)).astype(np.float32)
    # Dye clouds are larger than a pixel and lie on each other in all layers in part.
    blurred = np.asarray(cv2.GaussianBlur(grain + grain[..., [1]], (0, 0), 0.8))
    return density + _GRAIN / float(blurred.std()) * np.sqrt(np.maximum(density, 0.02)) * blurred


def make_raws(folder: Path, width: int, height: int) -> tuple[Path, FlatField]:
    """A DNG of film and the flat field of its rig."""
    path = write_dng(folder / f"film{width}.dng", raw_of(BASE_COUNTS * 10.0 ** -film_density(width, height)).mosaic)
    y, x = np.mgrid[0:height:1, 0:width:1].astype(np.float32)
    falloff = 1.0 - 0.1 * np.hypot(x / width - 0.5, y / width - 0.35)
    return path, measure_flat_field(raw_of(falloff[..., None] * np.array([14000.0, 12000.0, 9000.0])))


def job_for(path: Path, flat: FlatField, threads: int, border: Border) -> ConversionJob:
    """The conversion that is measured: flat field, density, demosaic, matrices, tone, 16-bit TIFF, half-size JPEG."""
    # Base and neutral are the roll's: they are measured once for all of its frames.
    usual = usual_film(FilmKind.COLOUR_NEGATIVE).model()
    return ConversionJob(
        raw_path=path,
        film_kind=FilmKind.COLOUR_NEGATIVE,
        base=FilmBase((float(BASE_COUNTS[0]), float(BASE_COUNTS[1]), float(BASE_COUNTS[2]))),
        model=usual,
        positive_path=path.with_suffix(".tif"),
        proof_path=path.with_suffix(".jpg"),
        recipe=Recipe(border=border),
        corners=QuadPx.from_array([[60, 50], [5900, 70], [5890, 3950], [50, 3930]]),
        flat=flat,
        threads=threads,
    )


def ahd(path: Path) -> None:
    """LibRaw's AHD alone, 16-bit linear."""
    with rawpy.imread(str(path)) as raw:
        raw.postprocess(
            demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD, output_bps=16, gamma=(1, 1), no_auto_bright=True
        )


def timed_s(work: Callable[[], object]) -> tuple[float, float]:
    """Time a call takes, and time the processor spends on it (all threads), s."""
    started_s, busy_s = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - started_s, time.process_time() - busy_s


def timed_ahd(path: Path) -> tuple[float, float]:
    """Time of AHD, as `timed_s` tells it."""
    return timed_s(lambda: ahd(path))


def print_speed(path: Path, flat: FlatField, rounds: int) -> None:
    """Ratios of conversion to AHD, taken in turn; LibRaw spreads AHD over all cores where it is not forbidden."""
    cv2.setNumThreads(1)
    works: dict[str, Callable[[], object]] = {
        "AHD alone": lambda: ahd(path),
        "whole, 1 thread": partial(convert_file, job_for(path, flat, 1, Border.WHOLE)),
        "whole, 2 threads": partial(convert_file, job_for(path, flat, 2, Border.WHOLE)),
        "for a roll, 2 threads": partial(convert_file, replace(job_for(path, flat, 2, Border.WHOLE), with_sha256=True)),
        "squared, 2 threads": partial(convert_file, job_for(path, flat, 2, Border.FRAME)),
        "proof only": partial(convert_file, proof_job(path, flat)),
    }
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in (*works, _IN_ONE_THREAD)}
    # The library reads this when it is loaded.
    os.environ["OMP_NUM_THREADS"] = "1"
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as alone:
        for _ in range(rounds):
            for name, work in works.items():
                # To throw an older file away costs as much as to write some of it.
                for result in (path.with_suffix(".tif"), path.with_suffix(".jpg")):
                    result.unlink(missing_ok=True)
                times[name].append(timed_s(work))
            times[_IN_ONE_THREAD].append(alone.submit(timed_ahd, path).result())
    reference, in_one_thread = np.array(times["AHD alone"]), np.array(times[_IN_ONE_THREAD])
    for name, taken in times.items():
        ratio, busy = np.median(np.array(taken) / reference, axis=0)
        to_one = np.median(np.array(taken)[:, 0] / in_one_thread[:, 0])
        print(
            f"{name:22} {min(taken)[0]:6.2f} s at best, {ratio:5.2f} of AHD, {to_one:5.2f} of AHD in one thread; "
            f"processor time {busy:5.2f} of AHD's"
        )


def proof_job(path: Path, flat: FlatField) -> ConversionJob:
    """A half-size proof and nothing else."""
    return ConversionJob(
        raw_path=path,
        film_kind=FilmKind.COLOUR_NEGATIVE,
        proof_path=path.with_suffix(".jpg"),
        recipe=Recipe(border=Border.WHOLE, half_size=True),
        flat=flat,
        threads=2,
    )


def _peak_of(path: Path, flat: FlatField, threads: int, answers: multiprocessing.Queue[float]) -> None:
    convert_file(job_for(path, flat, threads, Border.FRAME))
    # The kernel's own mark; getrusage's would count what the parent held before this process had memory of its own.
    marks = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines() if ":" in line)
    answers.put(float(marks["VmHWM"].split()[0]) / 1024)


def print_memory(path: Path, flat: FlatField, name: str) -> None:
    """Peak memory of a fresh process that converts one picture."""
    context = multiprocessing.get_context("spawn")
    answers: multiprocessing.Queue[float] = context.Queue()
    process = context.Process(target=_peak_of, args=(path, flat, 2, answers))
    process.start()
    print(f"{name:20} {answers.get(timeout=600):6.0f} MiB at its peak")
    process.join()


def print_demosaic(folder: Path) -> None:
    """PSNR of our demosaic over the base, and of LibRaw's AHD balanced and not, in transmittance over the base."""
    density = film_density(1536, 1024)
    raw = raw_of(BASE_COUNTS * 10.0**-density)
    path = write_dng(folder / "grain.dng", raw.mosaic)
    mosaic = np.empty(raw.mosaic.shape, np.float32)
    for place, channel in enumerate(raw.pattern.ravel()):
        row, column = divmod(place, 2)
        over_base = (raw.mosaic[row::2, column::2] - raw.black[row, column]) / BASE_COUNTS[channel]
        mosaic[row::2, column::2] = -np.log10(np.maximum(over_base, 1e-4))
    truth = 10.0**-density
    print(
        f"{'ours, in density':20} {psnr_db(10.0 ** -demosaic(mosaic, raw.pattern).astype(np.float64), truth):6.2f} dB"
    )
    for name, balance in (("AHD, balanced", BASE_COUNTS), ("AHD, unbalanced", np.full(3, 6000.0))):
        print(f"{name:20} {psnr_db(_ahd_over_base(path, balance), truth):6.2f} dB")


def _ahd_over_base(path: Path, balance: F64Array) -> F64Array:
    factors = balance.max() / balance
    with rawpy.imread(str(path)) as raw:
        developed = raw.postprocess(
            demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            no_auto_scale=False,
            user_wb=[factors[0], factors[1], factors[2], factors[1]],
            output_color=rawpy.ColorSpace.raw,
        )
    scaled = developed.astype(np.float64)
    # The scale LibRaw chose is found on the picture itself, channel by channel.
    truth_mean = (10.0 ** -film_density(1536, 1024)).mean(axis=(0, 1))
    return np.asarray(scaled * truth_mean / scaled.mean(axis=(0, 1)))


def psnr_db(picture: F64Array, truth: F64Array) -> float:
    """Peak signal to noise ratio, peak 1, borders left out."""
    inner = (slice(16, -16), slice(16, -16))
    return float(-10.0 * np.log10(np.mean((picture[inner] - truth[inner]) ** 2)))


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--large", action="store_true", help="memory at 100 megapixels as well")
    parser.add_argument("--folder", type=Path, help="where files are read and written")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        print_demosaic(folder)
        path, flat = make_raws(folder, 6000, 4000)
        print_memory(path, flat, "24 megapixels")
        print_speed(path, flat, options.rounds)
        if options.large:
            print_memory(*make_raws(folder, 11664, 8736), "102 megapixels")


if __name__ == "__main__":
    main()
