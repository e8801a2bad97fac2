"""Write a picture for keeping: the film as measured, with what the numbers mean."""

import json
from pathlib import Path

from tethercap import __version__
from tethercap.batch.bands import with_bands
from tethercap.batch.job import ConversionJob
from tethercap.convert.archive import ArchiveKind, ArchivePlan, render_archive
from tethercap.convert.crop import lay_out
from tethercap.convert.film_base import FilmBase
from tethercap.geometry import QuadPx
from tethercap.image_files.metadata import xmp_packet
from tethercap.image_files.tiff import TiffOptions, fill_positive
from tethercap.pictures import RawPicture
from tethercap.roll.metadata import document_id


def write_archive(
    path: Path,
    kind: ArchiveKind,
    job: ConversionJob,
    raw: RawPicture,
    *,
    corners: QuadPx | None,
    base: FilmBase,
    frame_long_mm: float,
) -> None:
    """Write an archive picture; the same input gives the same bytes.

    Parameters
    ----------
    path : Path
    kind : ArchiveKind
    job : ConversionJob
        Its flat field, geometry, metadata and threads are used, nothing of its look.
    raw : RawPicture
        As the camera made it.
    corners : QuadPx or None
        The picture on the film, mosaic pixels.
    base : FilmBase
    frame_long_mm : float
        Longer side of the frame on the film.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    layout = lay_out(raw.size, corners, job.recipe, frame_long_mm, half_size=False)
    plan = ArchivePlan(kind, layout, base)
    properties = {**job.properties, **_meaning(plan, job)}
    options = TiffOptions(
        colour_space=None, compression=job.compression, properties=properties, xmp=xmp_packet(properties)
    )

    def fill(put: object) -> None:
        with_bands(job.threads, lambda run_bands: render_archive(plan, raw, job.flat, put, run_bands))  # type: ignore[arg-type]

    fill_positive(path, layout.turned_size, options, fill)


def _meaning(plan: ArchivePlan, job: ConversionJob) -> dict[str, object]:
    steps: list[dict[str, object]] = [
        {"step": "black-level"},
        {"step": "flat-field", "applied": job.flat is not None},
        {"step": "demosaic", "filters": "directional, in density over base"},
        {
            "step": "square-and-crop",
            "border": job.recipe.border.value,
            "turn": job.recipe.turn.value,
            "squared": plan.layout.to_source is not None,
        },
        {"step": "encode", **plan.facts},
    ]
    original = job.properties.get("Xmp.xmpMM.OriginalDocumentID", "")
    return {
        "Exif.Image.ImageDescription": plan.sentence,
        "Xmp.tethercap.Values": json.dumps(plan.facts, sort_keys=True),
        "Xmp.tethercap.Steps": [json.dumps(step, sort_keys=True) for step in steps],
        "Xmp.xmp.CreatorTool": f"tethercap {__version__}",
        "Xmp.xmpMM.DocumentID": document_id(f"{plan.kind.value} of {original}") if original else "",
    }
