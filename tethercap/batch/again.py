"""A picture made again of its RAW, as its positive says in its metadata that it was made."""

import json
from dataclasses import replace
from pathlib import Path

import msgspec

from tethercap.batch.job import ConversionJob
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import Bows, FilmModel, Matrix, Triple
from tethercap.convert.pipeline import HALF_SIZE
from tethercap.convert.recipe import Border, CornersPx, Dust, Recipe, Turn
from tethercap.errors import ConversionError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.metadata import read
from tethercap.pictures import ColourSpace
from tethercap.profile_files import load_film_formats


class _FlatField(msgspec.Struct, frozen=True):
    applied: bool
    light: str = ""


class _Base(msgspec.Struct, frozen=True):
    base_counts_rgb: Triple
    how: str


class _Equalise(msgspec.Struct, frozen=True):
    gamma: Triple
    speed: Triple
    toe: float
    toe_ratio: Triple
    bend: Triple
    stray: float
    model: str
    densest: float = 0.0


class _Demosaic(msgspec.Struct, frozen=True):
    filters: str


class _DensityMatrix(msgspec.Struct, frozen=True):
    rows: Matrix
    bows: Bows
    channel_weights: Triple = Recipe().channel_weights


class _LightMatrix(msgspec.Struct, frozen=True):
    rows: Matrix


class _Exposure(msgspec.Struct, frozen=True):
    gain: float
    haze: float
    stops: float


class _Tone(msgspec.Struct, frozen=True):
    contrast: float
    saturation: float
    balance_stops: Triple


class _Cut(msgspec.Struct, frozen=True):
    border: Border
    turn: Turn
    mirrored: bool
    trim_mm: tuple[float, float, float, float]
    frame_long_mm: float
    corners_px: CornersPx | None = None


class _Encode(msgspec.Struct, frozen=True):
    space: ColourSpace


class _Dust(msgspec.Struct, frozen=True):
    still_on_rig: int
    repaired: bool


class _Merging(msgspec.Struct, frozen=True):
    files: tuple[str, ...]


class _Steps(msgspec.Struct, frozen=True, rename="kebab"):
    """What the steps of `pipeline.plan_conversion`, and those around them, say."""

    flat_field: _FlatField
    density_over_base: _Base
    equalise: _Equalise
    demosaic: _Demosaic
    density_matrix: _DensityMatrix
    light_matrix: _LightMatrix
    print_exposure: _Exposure
    print_tone: _Tone
    square_and_crop: _Cut
    encode: _Encode
    dust: _Dust | None = None
    merge_exposures: _Merging | None = None
    stitch: dict[str, object] | None = None

    def recipe(self) -> Recipe:
        """What was chosen."""
        dust = Dust.KEEP if self.dust is None else Dust.REPAIR if self.dust.repaired else Dust.MARK
        return Recipe(
            exposure_stops=self.print_exposure.stops,
            contrast=self.print_tone.contrast,
            saturation=self.print_tone.saturation,
            balance_stops=self.print_tone.balance_stops,
            space=self.encode.space,
            border=self.square_and_crop.border,
            turn=self.square_and_crop.turn,
            mirrored=self.square_and_crop.mirrored,
            half_size=self.demosaic.filters == HALF_SIZE,
            channel_weights=self.density_matrix.channel_weights,
            trim_mm=self.square_and_crop.trim_mm,
            dust=dust,
        )

    def model(self, film_kind: FilmKind) -> FilmModel:
        """How the film was read."""
        curves = self.equalise
        return FilmModel(
            film_kind=film_kind,
            gamma=curves.gamma,
            speed=curves.speed,
            toe=curves.toe,
            toe_ratio=curves.toe_ratio,
            bend=curves.bend,
            densest=curves.densest,
            density_matrix=self.density_matrix.rows,
            density_bows=self.density_matrix.bows,
            light_matrix=self.light_matrix.rows,
            stray=curves.stray,
            source=curves.model,
        )


def kind_in(positive: Path) -> FilmKind:
    """Read what kind of film a positive was made of.

    Raises
    ------
    UnreadablePictureError
        If it cannot be read.
    ConversionError
        If it does not say.
    """
    try:
        return FilmKind(str(read(positive).get("Xmp.tethercap.FilmKind")))
    except ValueError as error:
        raise _cannot(positive, "it does not say of what film it was made") from error


def job_again(job: ConversionJob, positive: Path) -> ConversionJob:
    """Give a job with all that was measured and chosen for a positive, so that the same pixels come out.

    Parameters
    ----------
    job : ConversionJob
        Of the same RAW, with the flat field that was used.
    positive : Path
        TIFF or JPEG that was made of it.

    Raises
    ------
    UnreadablePictureError
        If the positive cannot be read.
    ConversionError
        If it does not say how it was made, if that took more than its RAW, or if the job is another picture's.
    """
    said = read(positive)
    steps = _steps_in(positive, said.get("Xmp.tethercap.Steps"))
    if steps.stitch is not None:
        raise _cannot(positive, "it was put together of several parts")
    if steps.dust is not None and steps.dust.still_on_rig:
        raise _cannot(positive, "dust that sat on the rig was taken out of it, which only the whole roll shows")
    if steps.flat_field.light != ("" if job.flat is None else job.flat.fingerprint):
        raise _cannot(positive, "it was made with another flat field" if job.flat else "it was made with a flat field")
    names = () if steps.merge_exposures is None else steps.merge_exposures.files
    if names != (tuple(path.name for path in (job.raw_path, *job.further_raws)) if job.further_raws else ()):
        raise _cannot(positive, f"it was merged of {', '.join(names)}" if names else "it was made of one RAW")
    told = said.get("Xmp.tethercap.Warnings", [])
    corners = steps.square_and_crop.corners_px
    return replace(
        job,
        recipe=steps.recipe(),
        base=FilmBase(steps.density_over_base.base_counts_rgb, how=steps.density_over_base.how),
        model=steps.model(job.film_kind),
        exposure=PrintExposure(steps.print_exposure.gain, steps.print_exposure.haze),
        corners=None if corners is None else QuadPx.from_array(corners),
        find_frame=False,
        told_before=tuple(map(str, told)) if isinstance(told, list) else (str(told),),
        format_id=_format_so_long(steps.square_and_crop.frame_long_mm, positive),
    )


def _steps_in(positive: Path, said: object) -> _Steps:
    try:
        steps = [json.loads(step) for step in said] if isinstance(said, list) else []
        return msgspec.convert({step.pop("step"): step for step in steps}, _Steps)
    except (ValueError, TypeError, AttributeError, KeyError) as error:
        raise _cannot(positive, f"its metadata does not say so ({error})") from error


def _format_so_long(frame_long_mm: float, positive: Path) -> str:
    """Id of a film format with so long a frame; a cut a little beyond its edge is meant in millimetres of it."""
    for film_format in load_film_formats():
        if max(film_format.along_mm, film_format.across_mm) == frame_long_mm:
            return film_format.id
    raise _cannot(positive, f"no film format that is known here has frames {frame_long_mm:g} mm long")


def _cannot(positive: Path, why: str) -> ConversionError:
    return ConversionError(
        f"No picture can be made as {positive} was: {why}.",
        safe="Nothing was changed.",
        todo="Give the files and the flat field it was made of, or convert without --again.",
    )
