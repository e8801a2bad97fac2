"""Convert invented rolls with what tethercap has, and measure how far the positives are from the scenes.

Run ``python -m tests.quality.score`` for the tables.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from tests.quality import colours, film, shots, spectra
from tests.quality.coupled import draw_coupled_case
from tests.quality.drawn import Case, draw_case
from tests.quality.spectra import F64, Stock
from tethercap.batch.calibration import Target, calibrate_on_cards, calibrate_on_chart
from tethercap.batch.job import ConversionJob
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.survey import SurveyJob, survey_roll
from tethercap.batch.work import convert_file
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.recipe import Border, Recipe
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.image_files.tiff import read_tiff

STOPS = (-1.0, 0.0, 1.0, 2.0, 3.0)
KNOWN = ("nothing", "found", "cards", "chart")
"""`found`: nothing is said, and the chart among the frames is to be found."""


Shot = tuple[list[Path], list[tuple[Path, F64]]]
"""Pictures of the chart, and pictures of photographs, each with its scene."""


@dataclass(frozen=True)
class Scores:
    """How far the positives of a roll are from the scenes, CIEDE2000."""

    patches: F64
    """Shape (exposures, 24)."""
    photographs: F64
    """Mean over each photograph."""
    trimmed: F64
    """The same at the exposure that suits each best: how far colour and contrast are off."""
    similarity: F64
    """SSIM of lightness of each photograph."""
    clipped: float
    """Share of pixels at an end of the range in some channel."""


def frame_corners() -> QuadPx:
    """Where the picture lies in each shot."""
    left, top, width, height = shots.FRAME
    return QuadPx.from_array(
        [
            [left - 0.5, top - 0.5],
            [left + width - 0.5, top - 0.5],
            [left + width - 0.5, top + height - 0.5],
            [left - 0.5, top + height - 0.5],
        ]
    )


def score(
    stock: Stock,
    rig: film.Rig,
    known: str,
    folder: Path,
    stops: Sequence[float] = STOPS,
    *,
    scene_light: str = "D55",
    glare: float = shots.USUAL_GLARE,
) -> Scores:
    """Shoot a roll, convert it together, compare."""
    roll = shots.Roll(stock, rig, scene_light=scene_light, glare=glare)
    return judge(stock, known, folder, shoot_roll(roll, folder, stops), scene_light)


def judge(stock: Stock, known: str, folder: Path, shot: Shot, scene_light: str = "D55") -> Scores:
    """Convert together what was shot, compare."""
    charts, photographs = shot
    positives = convert_roll(stock, known, folder, [*charts, *(path for path, _ in photographs)])
    left, top, width, height = shots.FRAME
    cut = {path: picture[top : top + height, left : left + width] for path, picture in positives.items()}
    exposures = film.layer_exposures(stock, spectra.chart_reflectances(), scene_light)
    wanted = _meant(stock, colours.chart_linear_srgb(scene_light), exposures)
    patches = np.stack([colours.delta_e(_patch_means(cut[path]), wanted) for path in charts])
    differences, trimmed, similarities = [], [], []
    for path, scene in photographs:
        meant = shrunk(_meant(stock, scene, film.rgb_exposures(stock, scene, scene_light)))
        got = shrunk(cut[path])
        differences.append(float(colours.delta_e(got, meant).mean()))
        trimmed.append(_least_difference(got[::2, ::2], meant[::2, ::2]))
        similarities.append(_ssim(colours.lab_of_linear(got)[..., 0], colours.lab_of_linear(meant)[..., 0]))
    ends = [np.mean(np.any((picture <= 0.0) | (picture >= 1.0), axis=2)) for picture in cut.values()]
    return Scores(patches, np.array(differences), np.array(trimmed), np.array(similarities), float(np.mean(ends)))


def _meant(stock: Stock, linear_srgb: F64, exposures: F64) -> F64:
    """What a positive is to show: the scene, or how bright black-and-white film saw it."""
    return exposures.mean(axis=-1, keepdims=True).repeat(3, axis=-1) if stock.kind == "bw-negative" else linear_srgb


def _least_difference(got: F64, meant: F64) -> float:
    """Mean difference at the best of exposures a twentieth of a stop apart."""
    gains = 2.0 ** np.arange(-1.0, 1.01, 0.05)
    return float(min(colours.delta_e(np.clip(gain * got, 0.0, 1.0), meant).mean() for gain in gains))


def say(line: str) -> None:
    """Write a line of a table at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def shrunk(picture: F64) -> F64:
    """A quarter of the size: differences are judged as a print is, not grain by grain."""
    return np.asarray(cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), dtype=np.float64)


def shoot_roll(roll: shots.Roll, folder: Path, stops: Sequence[float]) -> Shot:
    """Photograph chart, cards and scenes on a roll, and the bare light; the chart's files, and each scene's with it."""
    light = roll.scene_light
    greys = film.layer_exposures(roll.stock, spectra.chart_reflectances(), light)
    surround = film.layer_exposures(roll.stock, np.full((1, len(spectra.WAVELENGTHS_NM)), 0.05), light)[0]
    card = film.layer_exposures(roll.stock, np.full((1, len(spectra.WAVELENGTHS_NM)), 0.18), light)[0]
    roll.shoot_light(folder / "flat.dng")
    charts = []
    for stop in stops:
        path = folder / f"chart{stop:+.0f}.dng"
        roll.shoot(path, greys, stop, spectral=shots.chart_picture(greys, surround))
        charts.append(path)
        even = np.broadcast_to(card, (shots.FRAME[3], shots.FRAME[2], 3))
        roll.shoot(folder / f"card{stop:+.0f}.dng", greys, stop, spectral=even)
    photographs = []
    for number, name in enumerate(shots.PHOTOGRAPHS):
        path = folder / f"{Path(name).stem}.dng"
        scene = shots.photograph(name)
        roll.shoot(path, scene, stops[(number * 2 + 1) % len(stops)])
        photographs.append((path, scene))
    return charts, photographs


def convert_roll(stock: Stock, known: str, folder: Path, paths: Sequence[Path]) -> dict[Path, F64]:
    """Convert a roll's files together; linear sRGB of each."""
    kind = FilmKind(stock.kind)
    flat = measure_flat_field(read_raw(folder / "flat.dng"))
    calibrate = None
    if known == "cards":
        cards = [Target(folder / f"card{stop}.dng", (_card_quad(),)) for stop in ("-1", "+1", "+3")]
        calibrate = partial(calibrate_on_cards, cards, kind, flat=flat)
    elif known == "chart":
        calibrate = partial(calibrate_on_chart, Target(folder / "chart+0.dng", _chart_quads()), kind, flat=flat)
    surveys = [SurveyJob(path, kind, frame_corners(), find_frame=False, flat=flat) for path in paths]
    found = survey_roll(surveys, SerialExecutor(), calibrate=calibrate, uses_chart=known == "found")
    positives = {}
    for number, path in enumerate(paths):
        job = ConversionJob(
            raw_path=path,
            film_kind=kind,
            positive_path=path.with_suffix(".tif"),
            recipe=replace(Recipe(), border=Border.WHOLE),
            corners=frame_corners(),
            base=found.bases[number] if found.bases else None,
            model=found.model,
            exposure=found.exposures[number] if found.exposures else None,
            flat=flat,
        )
        convert_file(job)
        positives[path] = colours.srgb_decode(read_tiff(path.with_suffix(".tif")) / 65535.0)
    return positives


def _card_quad() -> QuadPx:
    return QuadPx.from_array([[400, 250], [800, 250], [800, 550], [400, 550]])


def _chart_quads() -> tuple[QuadPx, ...]:
    left, top = shots.FRAME[:2]
    return tuple(
        QuadPx.from_array(
            [[left + x, top + y], [left + x + s, top + y], [left + x + s, top + y + s], [left + x, top + y + s]]
        )
        for x, y, s in shots.chart_places()
    )


def _patch_means(picture: F64) -> F64:
    return np.stack(
        [
            picture[y + s // 4 : y + 3 * s // 4, x + s // 4 : x + 3 * s // 4].mean(axis=(0, 1))
            for x, y, s in shots.chart_places()
        ]
    )


def _ssim(lightness_a: F64, lightness_b: F64) -> float:
    from skimage.metrics import structural_similarity

    return float(structural_similarity(lightness_a, lightness_b, data_range=100.0))


RIGS = (film.Rig("LED-B3", 0), film.Rig("LED-V1", 2), film.Rig("D50", 3))
CASES = tuple(Case(stock, rig, "D55", shots.USUAL_GLARE) for stock in spectra.STOCKS for rig in RIGS)
FEW = tuple(
    Case(stock, rig, "D55", shots.USUAL_GLARE)
    for stock, rig in zip(spectra.STOCKS, (RIGS[0], RIGS[1], RIGS[2], RIGS[0]), strict=True)
)
"""Each stock once."""


def held_out(number: int, draw: Callable[[int], Case] = draw_case) -> tuple[Case, ...]:
    """Drawn stocks on drawn rigs; those that the usual film is fitted to have higher seeds."""
    return tuple(draw(seed) for seed in range(1, number + 1))


def table(cases: Sequence[Case]) -> None:
    """Print the scores of stocks on rigs, for each thing that may be known."""
    heads = f"{'patches':>13} {'grey':>5} {'photos':>6} {'trim':>5} {'SSIM':>5} {'clip %':>6}  by exposure"
    say(f"{'known':8} {'stock':12} {'rig':18} {heads}")
    for known in KNOWN:
        all_scores = []
        for case in cases:
            with tempfile.TemporaryDirectory() as folder:
                found = score(case.stock, case.rig, known, Path(folder), scene_light=case.scene_light, glare=case.glare)
            all_scores.append(found)
            _print_row(known, case.stock.name, case.rig.name, [found])
        _print_row(known, "all", "", all_scores)


def _print_row(known: str, stock: str, rig: str, scores: Sequence[Scores]) -> None:
    patches = np.stack([one.patches for one in scores])
    greys = patches[:, :, 18:].mean(axis=(0, 1)).max()
    by_exposure = " ".join(f"{value:4.1f}" for value in patches.mean(axis=(0, 2)))
    photographs = np.concatenate([one.photographs for one in scores]).mean()
    trimmed = np.concatenate([one.trimmed for one in scores]).mean()
    ssim = np.concatenate([one.similarity for one in scores]).mean()
    clipped = 100 * np.mean([one.clipped for one in scores])
    say(
        f"{known:8} {stock:12} {rig:18} {patches.mean():6.2f} {np.percentile(patches, 95):6.2f} {greys:5.2f} "
        f"{photographs:6.2f} {trimmed:5.2f} {ssim:5.3f} {clipped:6.3f}  {by_exposure}"
    )


def main() -> None:
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--few", action="store_true", help="each stock of the check once")
    parser.add_argument("--held-out", type=int, default=0, metavar="N", help="N drawn stocks on drawn rigs instead")
    parser.add_argument("--coupled", action="store_true", help="those are of the second family")
    parser.add_argument("--grey", action="store_true", help="those are black-and-white film")
    options = parser.parse_args()
    draw = draw_coupled_case if options.coupled else draw_case
    if options.grey:
        draw = partial(draw_case, kind="bw-negative")
    table(held_out(options.held_out, draw) if options.held_out else FEW if options.few else CASES)


if __name__ == "__main__":
    main()
