"""What files agree on before their frames are looked for one by one."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.unit.convert.film_shots import colour_patches, shoot
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.job import ConversionJob
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.together import share_frame
from tethercap.convert.recipe import Border, Recipe
from tethercap.film.kinds import FilmKind


@pytest.fixture
def jobs(tmp_path: Path) -> list[ConversionJob]:
    """Three frames of 36 mm on 480 px, nobody having said so."""
    shots = [shoot(colour_patches(seed, side=80), rim_px=60) for seed in (4, 5, 6)]
    paths = [write_dng(tmp_path / f"{number}.dng", shot.raw.mosaic) for number, shot in enumerate(shots)]
    kind = FilmKind.COLOUR_NEGATIVE
    return [ConversionJob(raw_path=path, film_kind=kind, find_frame=True, format_id="135-36x24") for path in paths]


def test_files_agree_on_their_scale_and_a_damaged_one_does_not_keep_them_from_it(jobs: list[ConversionJob]) -> None:
    damaged = jobs[0].raw_path.with_name("damaged.dng")
    damaged.write_bytes(b"no picture")
    single = replace(jobs[0], film_kind=FilmKind.BW_NEGATIVE)
    looked_at: list[int] = []
    asking = [*jobs, replace(jobs[0], raw_path=damaged), single]
    shared = share_frame(asking, SerialExecutor(), on_done=lambda: looked_at.append(1))
    assert len(looked_at) == 4
    agreed = shared[0].shared_frame
    assert agreed is not None
    assert agreed.format_id == "135-36x24"
    assert agreed.mm_per_px == pytest.approx(36 / 480, rel=0.005)
    assert [job.shared_frame for job in shared] == [agreed] * 4 + [None]
    assert [job.raw_path for job in shared] == [job.raw_path for job in asking]


def test_files_whose_frames_are_not_looked_for_are_not_looked_at(jobs: list[ConversionJob]) -> None:
    looked_at: list[int] = []
    whole = [replace(job, recipe=Recipe(border=Border.WHOLE)) for job in jobs]
    for known in (whole, jobs[:2]):
        shared = share_frame(known, SerialExecutor(), on_done=lambda: looked_at.append(1))
        assert [job.shared_frame for job in shared] == [None] * len(known)
    assert looked_at == []
