"""The parts of a run joined: camera, watcher, roll, workers. What `capture` and `demo` have in common."""

import contextlib
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import let_proofs_by, stand_back, step_aside
from tethercap.batch.proof import Proof, Prover, SeenFrame, make_proof
from tethercap.batch.recipes import read_recipes
from tethercap.batch.roll_jobs import job_of_filed
from tethercap.batch.sturdy import SturdyPool
from tethercap.batch.work import convert_file
from tethercap.camera.base import Camera
from tethercap.check.raw import CheckRequest
from tethercap.clock import SystemClock
from tethercap.image_files.metadata import xmp_packet
from tethercap.pictures import ColourSpace
from tethercap.profile_files import load_film_format
from tethercap.roll.folder import FiledTake, Roll
from tethercap.roll.setup import RollSetup
from tethercap.session.check_job import CheckedFile, check_file
from tethercap.session.events import SessionEvent
from tethercap.session.options import RunnerOptions
from tethercap.session.proofs import ArrivedShot
from tethercap.session.runner import RollRunner
from tethercap.watch.directions import Directions
from tethercap.watch.watcher import Watcher

LONGEST_CHECK_S = 120.0
"""A check takes a second or two; what takes so long hangs, as libraries may on a damaged file."""
LONGEST_CONVERSION_S = 600.0


@contextlib.contextmanager
def open_roll(path: Path, setup: RollSetup | None, *, mirror: Path | None = None) -> Iterator[Roll]:
    """Open the roll in a folder, or make it where there is none.

    Parameters
    ----------
    setup : RollSetup or None
        Used for a new roll only; None opens what is there.
    mirror : Path, optional
        Folder, on another disk, that gets a second copy of the roll.

    Raises
    ------
    RollError
        If the folder cannot be used.
    """
    is_there = (path / "roll.toml").exists()
    if is_there or setup is None:
        roll = Roll.open(path, sidecar=xmp_packet, mirror=mirror)
    else:
        roll = Roll.create(path, setup, sidecar=xmp_packet, mirror=mirror)
    with roll:
        yield roll
    copy = roll.mirror_status
    if copy is not None and copy.sentence:
        click.echo(copy.sentence, err=True)


@dataclass(slots=True)
class Workers:
    """The worker processes of a run: one checks what was pulled, one converts what was accepted, one makes proofs."""

    checker: SturdyPool
    converter: SturdyPool | None
    prover: SturdyPool | None

    @classmethod
    @contextlib.contextmanager
    def started(cls, *, convert: bool, prove: bool = False) -> Iterator["Workers"]:
        """Start the processes, and end them after the block; `prove` where somebody looks at the proofs."""
        with contextlib.ExitStack() as stack:
            checker = stack.enter_context(SturdyPool(let_proofs_by if prove else None, longest_s=LONGEST_CHECK_S))
            converter = stack.enter_context(SturdyPool(stand_back, longest_s=LONGEST_CONVERSION_S)) if convert else None
            prover = stack.enter_context(SturdyPool(step_aside, longest_s=LONGEST_CHECK_S)) if prove else None
            for pool, work in ((checker, check_file), (prover, make_proof), (converter, convert_file)):
                if pool is not None:
                    pool.warm_up(work)
            yield cls(checker, converter, prover)

    def check(self, path: Path, suffix: str, request: CheckRequest) -> "Future[CheckedFile]":
        """Hand a pulled file to the checking process."""
        return self.checker.submit(check_file, path, suffix, request)

    def converting(self, roll: Roll) -> "Callable[[FiledTake], Future[Any]] | None":
        """Make the function that hands an accepted picture to the converting process, if there is one.

        Raises
        ------
        ProfileError
            If the roll's recipe.toml has a mistake.
        """
        converter = self.converter
        if converter is None:
            return None
        recipes = read_recipes(roll.path)

        def convert(filed: FiledTake) -> "Future[ConversionResult]":
            return converter.submit(convert_file, job_of_filed(roll, filed, recipes).job)

        return convert

    def proving(self, roll: Roll) -> "Callable[[ArrivedShot], Future[Any]] | None":
        """Make the function that hands a picture just arrived to the proving process, if there is one.

        Raises
        ------
        ProfileError
            If the roll's recipe.toml has a mistake.
        """
        if self.prover is None:
            return None
        prover, recipes = Prover(self.prover), read_recipes(roll.path)

        def prove(shot: ArrivedShot) -> "Future[Proof]":
            recipe = recipes.for_frame(shot.frame_id, mirrored=roll.mirrored)
            wanted = ConversionJob(
                raw_path=shot.names[-1],
                film_kind=roll.setup.film_kind,
                recipe=replace(recipe, half_size=True, space=ColourSpace.SRGB),
                format_id=roll.setup.film_format,
            )
            seen = SeenFrame(shot.corners, shot.view) if shot.corners is not None and shot.view is not None else None
            return prover.prove(shot.names, wanted, seen)

        return prove


def runner_maker(
    camera: Camera,
    roll: Roll,
    workers: Workers,
    *,
    options: RunnerOptions,
    directions: Directions | None = None,
) -> Callable[[Callable[[SessionEvent], None]], RollRunner]:
    """Join the parts; what comes back makes the runner once it is known whom to report to."""
    film_format = load_film_format(roll.setup.film_format, project=roll.path)
    watcher = Watcher(film_format, film_kind=roll.setup.film_kind, directions=directions or Directions())

    def make_runner(on_event: Callable[[SessionEvent], None]) -> RollRunner:
        return RollRunner(
            camera=camera,
            watcher=watcher,
            roll=roll,
            clock=SystemClock(time.monotonic, time.sleep),
            on_event=on_event,
            check=workers.check,
            convert=workers.converting(roll),
            prove=workers.proving(roll),
            options=options,
        )

    return make_runner
