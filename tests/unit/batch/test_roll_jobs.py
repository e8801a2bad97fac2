"""A roll converted as one, its positives replaced, while the record stays right."""

from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.unit.batch.shot_rolls import file_shots
from tests.unit.convert.film_shots import raw_of
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch import together
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.recipes import store_frame_recipe
from tethercap.batch.roll_jobs import Reconverted, has_frames_of_their_own, reconvert_roll, roll_jobs
from tethercap.batch.together import FrameLook, convert_each
from tethercap.batch.work import convert_file
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.recipe import Recipe
from tethercap.errors import ConversionError, UnreadablePictureError
from tethercap.image_files.metadata import read
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId


@pytest.fixture
def roll_path(tmp_path: Path) -> Path:
    file_shots(tmp_path / "roll", tmp_path)
    return tmp_path / "roll"


def convert_singly(roll: Roll) -> None:
    for each in roll_jobs(roll):
        made = convert_file(each.job)
        assert made.positive is not None
        roll.put_positive(
            each.frame_id,
            each.take.number,
            made.positive,
            made.proof,
            positive_sha256=made.positive_sha256,
            proof_sha256=made.proof_sha256,
            base={"measured": True},
        )


def bases(roll: Roll) -> set[float]:
    found = set()
    for frame in roll.frames.values():
        assert frame.chosen is not None
        assert frame.chosen.converted is not None
        steps = {step["step"]: step for step in frame.chosen.converted.steps}
        found.add(float(steps["density-over-base"]["base_counts_rgb"][0]))
    return found


def test_positives_made_singly_are_replaced_by_those_of_the_roll(roll_path: Path) -> None:
    with Roll.open(roll_path) as roll:
        convert_singly(roll)
        assert has_frames_of_their_own(roll)
        before = {path.name: path.read_bytes() for path in (roll_path / "positive").iterdir()}
        steps: list[int] = []
        made = list(reconvert_roll(roll, SerialExecutor(), on_look=lambda: steps.append(1)))
        assert len(steps) == 3
        assert made == [Reconverted(FrameId(number)) for number in (1, 2, 3)]
        assert not has_frames_of_their_own(roll)
        assert len(bases(roll)) == 1
        after = {path.name: path.read_bytes() for path in (roll_path / "positive").iterdir()}
    assert before.keys() == after.keys()
    assert before != after
    report = verify(roll_path)
    assert report.is_sound
    assert report.extra == ()


def test_a_frames_own_recipe_is_kept_to(roll_path: Path) -> None:
    store_frame_recipe(roll_path, "2", Recipe(exposure_stops=1.0))
    with Roll.open(roll_path) as roll:
        list(reconvert_roll(roll, SerialExecutor()))
        stops = [
            next(step["stops"] for step in frame.chosen.converted.steps if step["step"] == "print-exposure")
            for frame in roll.frames.values()
            if frame.chosen is not None and frame.chosen.converted is not None
        ]
    assert stops == [0.0, 1.0, 0.0]


def test_a_frame_gets_of_its_roll_what_its_recipe_wants(roll_path: Path) -> None:
    look = FrameLook(FilmBase((9000.0, 6000.0, 2600.0)), FilmModel(), PrintExposure(0.03, haze=0.004), None)
    with Roll.open(roll_path) as roll:
        job = roll_jobs(roll)[0].job

    def given(**changes: Any) -> ConversionJob:
        return look.given_to(replace(job, recipe=replace(job.recipe, **changes)))

    assert given().exposure == look.exposure
    assert given(black_point=0.25).exposure == PrintExposure(0.03, haze=0.001), "as much haze as the recipe says"
    assert given(auto_exposure=False).exposure is None
    assert given(auto_exposure=False).base == look.base
    assert given(own_base=True).base is None
    assert given(own_base=True).model == look.model


def test_a_positive_that_a_person_changed_is_kept_and_told(roll_path: Path) -> None:
    with Roll.open(roll_path) as roll:
        list(reconvert_roll(roll, SerialExecutor()))
        (roll_path / "positive" / "X31-007_02.tif").write_bytes(b"retouched")
        kept = [made.kept for made in reconvert_roll(roll, SerialExecutor())]
    assert [len(sentences) for sentences in kept] == [0, 1, 0]
    assert "edited/X31-007_02.tif" in kept[1][0]
    assert (roll_path / "edited" / "X31-007_02.tif").read_bytes() == b"retouched"
    assert verify(roll_path).is_sound


def test_a_full_size_jpeg_that_is_there_is_made_anew_with_its_positive(roll_path: Path) -> None:
    (roll_path / "recipe.toml").write_text("jpeg = true\n")
    with Roll.open(roll_path) as roll:
        list(reconvert_roll(roll, SerialExecutor()))
        before = (roll_path / "jpeg" / "X31-007_01.jpg").read_bytes()
        (roll_path / "recipe.toml").write_text("exposure_stops = 1.0\n")
        list(reconvert_roll(roll, SerialExecutor()))
    assert (roll_path / "jpeg" / "X31-007_01.jpg").read_bytes() != before
    assert verify(roll_path).extra == ()


def test_a_run_cut_off_leaves_old_positives_or_new_ones(roll_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Roll.open(roll_path) as roll:
        convert_singly(roll)
    calls = []

    def dies_at_the_second(job: object) -> ConversionResult:
        calls.append(job)
        if len(calls) == 2:
            convert_file(job)  # type: ignore[arg-type]
            raise KeyboardInterrupt
        return convert_file(job)  # type: ignore[arg-type]

    monkeypatch.setattr(together, "convert_file", dies_at_the_second)
    with pytest.raises(KeyboardInterrupt), Roll.open(roll_path) as roll:
        list(reconvert_roll(roll, SerialExecutor()))
    assert verify(roll_path).is_sound
    with Roll.open(roll_path) as roll:
        assert has_frames_of_their_own(roll)
    assert verify(roll_path).extra == ()


def test_a_damaged_frame_is_told_and_the_others_are_made(roll_path: Path) -> None:
    raw = roll_path / "raw" / "X31-007_02.dng"
    with Roll.open(roll_path) as roll:
        convert_singly(roll)
        old = (roll_path / "positive" / "X31-007_02.tif").read_bytes()
        jobs = roll_jobs(roll)
        raw.write_bytes(raw.read_bytes()[:-9000])
        outcomes = list(convert_each([each.job for each in jobs], SerialExecutor()))
        made = list(reconvert_roll(roll, SerialExecutor()))
    assert [isinstance(outcome, ConversionResult) for outcome in outcomes] == [True, False, True]
    assert isinstance(outcomes[1], UnreadablePictureError)
    assert [type(each.trouble) for each in made] == [type(None), UnreadablePictureError, type(None)]
    assert (roll_path / "positive" / "X31-007_02.tif").read_bytes() == old


class Failing(SerialExecutor):
    """A pool in which every call ends so."""

    def __init__(self, error: BaseException) -> None:
        self._error = error

    def submit(self, fn: object, /, *args: object, **kwargs: object) -> "Future[ConversionResult]":  # type: ignore[override]
        future: Future[ConversionResult] = Future()
        future.set_exception(self._error)
        return future


def test_a_pool_that_dies_does_not_take_the_roll_along(roll_path: Path) -> None:
    with Roll.open(roll_path) as roll:
        pool = Failing(BrokenProcessPool("a process died"))
        outcomes = list(convert_each([each.job for each in roll_jobs(roll)], pool))
    assert all(isinstance(outcome, ConversionResult) for outcome in outcomes)


def test_a_picture_too_large_for_the_memory_does_not_stop_the_others(roll_path: Path) -> None:
    with Roll.open(roll_path) as roll:
        outcomes = list(convert_each([each.job for each in roll_jobs(roll)], Failing(MemoryError())))
    assert [type(outcome) for outcome in outcomes] == [ConversionError] * 3
    assert "not enough memory to convert X31-007_02.dng" in str(outcomes[1])


def test_positives_say_what_they_come_from(roll_path: Path) -> None:
    with Roll.open(roll_path) as roll:
        list(reconvert_roll(roll, SerialExecutor()))
    found = read(roll_path / "positive" / "X31-007_01.tif")
    assert found["Xmp.xmpMM.DerivedFrom/stRef:filePath"] == "raw/X31-007_01.dng"


def test_a_roll_remembers_the_bare_light(roll_path: Path, tmp_path: Path) -> None:
    light = np.linspace(0.7, 1.0, 600)[:, None] * np.array([8000.0, 15000.0, 10000.0])
    write_dng(tmp_path / "light.dng", raw_of(np.broadcast_to(light, (440, 600, 3))).mosaic)
    (roll_path / "recipe.toml").write_text('flat = "../light.dng"\n')
    with Roll.open(roll_path) as roll:
        results = [convert_file(each.job) for each in roll_jobs(roll)]
    assert all(dict(result.steps)["flat-field"]["applied"] for result in results)
    (tmp_path / "light.dng").rename(tmp_path / "elsewhere.dng")
    with Roll.open(roll_path) as roll, pytest.raises(UnreadablePictureError, match="is not there"):
        roll_jobs(roll)
