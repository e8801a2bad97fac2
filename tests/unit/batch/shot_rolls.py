"""Rolls with small RAW files of invented film in them."""

from pathlib import Path

from tests.unit.convert.film_shots import colour_patches, shoot
from tests.unit.image_files.dng_writer import write_dng
from tests.unit.roll import rolls
from tethercap.check.findings import RawFindings
from tethercap.film.kinds import FilmKind
from tethercap.roll.folder import TakeOutcome
from tethercap.watch.sighting import FrameEdges


def file_shots(path: Path, folder: Path, seeds: tuple[int, ...] = (4, 5, 6)) -> None:
    """Make the roll `path` of as many frames as seeds; `folder` is for passing files."""
    with rolls.create(path) as roll:
        for number, seed in enumerate(seeds, start=1):
            shot = shoot(colour_patches(seed, side=80), rim_px=60)
            content = write_dng(folder / "a.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67)).read_bytes()
            edges = FrameEdges(shot.corners, (), 36 / 480, FilmKind.COLOUR_NEGATIVE, "135-36x24", 1.0)
            incoming = roll.receive(str(number), ".dng", [content], len(content))
            roll.file(incoming, TakeOutcome(accepted=True, findings=RawFindings((), edges, None)))
