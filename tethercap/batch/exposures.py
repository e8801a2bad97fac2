"""The RAW of a job, merged from several exposures where it has them."""

from tethercap.batch.job import ConversionJob
from tethercap.convert.merge import merge_exposures
from tethercap.convert.pipeline import Step
from tethercap.image_files.raw import read_raw
from tethercap.pictures import RawPicture


def open_exposures(job: ConversionJob) -> tuple[RawPicture, tuple[Step, ...]]:
    """Read a job's RAW, merged with its further exposures where it has some, and say what was done.

    Raises
    ------
    PictureError
        If one cannot be read.
    ConversionError
        If they do not belong together.
    """
    first = read_raw(job.raw_path)
    if not job.further_raws:
        return first, ()
    merged = merge_exposures([first, *(read_raw(path) for path in job.further_raws)])
    names = [path.name for path in (job.raw_path, *job.further_raws)]
    facts: dict[str, object] = {
        "files": names,
        "exposures": [round(exposure, 4) for exposure in merged.exposures],
        "moved_px": [round(moved, 3) for moved in merged.movement_px],
    }
    return merged.raw, (("merge-exposures", facts),)
