"""The RAW of a job, merged from several exposures where it has them."""

from collections.abc import Iterator
from contextlib import contextmanager

from tethercap.batch.job import ConversionJob
from tethercap.convert.merge import merge_exposures
from tethercap.convert.pipeline import Step
from tethercap.image_files.raw import open_raw, read_raw
from tethercap.pictures import RawPicture


@contextmanager
def open_exposures(job: ConversionJob) -> Iterator[tuple[RawPicture, tuple[Step, ...]]]:
    """Open a job's RAW for as long as a block runs, merged with its further exposures if any, and say what was done.

    Raises
    ------
    PictureError
        If one cannot be read.
    ConversionError
        If they do not belong together.
    """
    if not job.further_raws:
        with open_raw(job.raw_path) as raw:
            yield raw, ()
        return
    merged = merge_exposures([read_raw(path) for path in (job.raw_path, *job.further_raws)])
    names = [path.name for path in (job.raw_path, *job.further_raws)]
    facts: dict[str, object] = {
        "files": names,
        "exposures": [round(exposure, 4) for exposure in merged.exposures],
        "moved_px": [round(moved, 3) for moved in merged.movement_px],
    }
    yield merged.raw, (("merge-exposures", facts),)
