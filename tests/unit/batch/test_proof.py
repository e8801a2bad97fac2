"""Proofs: half as large, cut as live view saw the frame, in the look of the frames before."""

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pytest

from tests.unit.convert.film_shots import Shot, colour_patches, shoot
from tests.unit.convert.test_chart_frames import chart_scene
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.job import ConversionJob
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.proof import ProofJob, Prover, SeenFrame, make_proof, tell_look
from tethercap.batch.together import share_look
from tethercap.batch.work import convert_file
from tethercap.convert.chart_frames import CHART_ON_ROLL
from tethercap.convert.recipe import Recipe
from tethercap.errors import PictureError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import SizePx
from tethercap.image_files.jpeg import decode_jpeg

T = TypeVar("T")
SEEN_SCALE = 0.4
"""Live pixels a pixel of the RAW."""


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> list[ProofJob]:
    folder = tmp_path_factory.mktemp("proofs")
    return [job_of(shoot(colour_patches(seed, side=100), rim_px=80), folder / f"{seed}.dng") for seed in (4, 5)]


def job_of(shot: Shot, path: Path) -> ProofJob:
    write_dng(path, shot.raw.mosaic, neutral=(0.53, 1.0, 0.67))
    view = SizePx(round(shot.raw.size.width_px * SEEN_SCALE), round(shot.raw.size.height_px * SEEN_SCALE))
    conversion = ConversionJob(
        raw_path=path, film_kind=FilmKind.COLOUR_NEGATIVE, recipe=Recipe(half_size=True), format_id="135-36x24"
    )
    seen = SeenFrame(shot.corners.scaled(SEEN_SCALE), view)
    return ProofJob(names=(path.with_suffix(".part"), path), conversion=conversion, seen=seen)


def pixels(jpeg: bytes) -> np.ndarray:
    return decode_jpeg(jpeg).astype(float)


def test_it_is_what_the_roll_makes_of_the_frame_at_half_size(jobs: list[ProofJob], tmp_path: Path) -> None:
    first = make_proof(jobs[0])
    second = make_proof(replace(jobs[1], before=(first.frame,)))
    look = tell_look([first.frame], second.usual)
    again = make_proof(replace(jobs[1], look=look))
    wanted = [
        replace(job.conversion, corners=job.seen.corners.scaled(1 / SEEN_SCALE)) for job in jobs if job.seen is not None
    ]
    of_roll = share_look(wanted, SerialExecutor())[1]
    positive = replace(of_roll, proof_path=tmp_path / "p.jpg")
    convert_file(positive)
    expected = pixels((tmp_path / "p.jpg").read_bytes())
    # Edges differ, since each is made smaller in its own way; and one frame does not tell all that two do.
    for proof, tone, all_in_all in ((second, 0.3, 3.5), (again, 2.0, 4.5)):
        assert pixels(proof.jpeg).shape == expected.shape == (198, 298, 3)
        apart = pixels(proof.jpeg) - expected
        assert np.median(np.abs(apart)) <= 2.0
        assert np.abs(apart).mean() < all_in_all
        assert np.abs(apart.mean(axis=(0, 1))).max() < tone


class Remembering(SerialExecutor):
    """Keeps what was handed over."""

    def __init__(self) -> None:
        self.handed: list[object] = []

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> "Future[T]":
        self.handed += args
        return super().submit(fn, *args, **kwargs)


def test_a_chart_that_was_seen_tells_the_frames_behind_it(jobs: list[ProofJob], tmp_path: Path) -> None:
    scene = np.repeat(np.repeat(chart_scene(5, 1), 16, axis=0), 16, axis=1)
    chart = job_of(shoot(scene, rim_px=80), tmp_path / "chart.dng")
    pool = Remembering()
    prover = Prover(pool)
    assert prover.prove(chart.names, chart.conversion, chart.seen).result().frame.chart is not None
    assert prover.prove(jobs[0].names, jobs[0].conversion, jobs[0].seen).result().frame.chart is None
    behind = pool.handed[-1]
    assert isinstance(behind, ProofJob)
    assert behind.look is not None
    assert behind.look.model.source == CHART_ON_ROLL


def test_live_view_of_another_shape_cuts_nothing(jobs: list[ProofJob]) -> None:
    job = jobs[0]
    assert job.seen is not None
    other = replace(job.seen, view=SizePx(job.seen.view.width_px, job.seen.view.height_px + 30))
    assert pixels(make_proof(replace(job, seen=other)).jpeg).shape == (280, 380, 3)


def test_a_raw_that_is_damaged_has_none(jobs: list[ProofJob], tmp_path: Path) -> None:
    torn = tmp_path / "torn.dng"
    torn.write_bytes(jobs[0].names[-1].read_bytes()[:2000])
    with pytest.raises(PictureError):
        make_proof(replace(jobs[0], names=(torn, tmp_path / "gone.dng")))
