"""What a converter is asked to do and what it answers: plain values that travel between processes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tethercap.batch.find_frame import SharedFrame
from tethercap.convert.archive import ArchiveKind
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.pipeline import Step
from tethercap.convert.recipe import Recipe
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx
from tethercap.image_files.tiff import Compression
from tethercap.pictures import U8Array


@dataclass(frozen=True, slots=True)
class PackedMask:
    """A mask of ones and zeros, packed for its way between processes."""

    shape: tuple[int, int]
    bits: bytes

    @classmethod
    def of(cls, mask: U8Array) -> "PackedMask":
        """Pack a mask."""
        return cls((mask.shape[0], mask.shape[1]), np.packbits(mask > 0).tobytes())

    def unpacked(self) -> U8Array:
        """Give the mask, 1 = set."""
        count = self.shape[0] * self.shape[1]
        return np.unpackbits(np.frombuffer(self.bits, np.uint8), count=count).reshape(self.shape)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConversionJob:
    """One RAW to convert."""

    raw_path: Path
    film_kind: FilmKind
    further_raws: tuple[Path, ...] = ()
    """Further exposures of the same frame, to be merged with the first."""
    positive_path: Path | None = None
    """16-bit TIFF to write; None writes none."""
    proof_path: Path | None = None
    """JPEG to write, half as large; None writes none."""
    jpeg_path: Path | None = None
    """JPEG to write as large as the positive; None writes none."""
    archive: ArchiveKind | None = None
    """What the archive picture is to hold."""
    archive_path: Path | None = None
    """16-bit TIFF of the film as measured; None writes none."""
    dust_path: Path | None = None
    """PNG for where dust is, as large as the positive; written where the recipe looks for dust."""
    still_dust: PackedMask | None = None
    """Dust that sits on the rig, per 2 x 2 cell of the mosaic, as found over the roll."""
    recipe: Recipe = field(default_factory=Recipe)
    corners: QuadPx | None = None
    """The picture on the film, mosaic pixels."""
    find_frame: bool = False
    """Where no corners are given, look for the frame in the RAW."""
    format_id: str | None = None
    """Id of the film format, for finding the frame; None tries all."""
    shared_frame: SharedFrame | None = None
    """Format and scale that the files of a set agree on, for finding the frame."""
    base: FilmBase | None = None
    """Clear film as measured on the roll; None measures it on this frame."""
    model: FilmModel | None = None
    """Curves and matrices of the roll; None takes the kind of film's own."""
    flat: FlatField | None = None
    exposure: PrintExposure | None = None
    """Fixed print exposure; None finds it."""
    told_before: tuple[str, ...] | None = None
    """What was said when the same picture was made before, to be said again; None says what is seen now."""
    properties: Mapping[str, object] = field(default_factory=dict)
    """Metadata for the written files, exiv2 names."""
    compression: Compression = Compression.NONE
    proof_long_side_px: int | None = None
    """None makes proofs at half size."""
    jpeg_quality: int = 92
    with_sha256: bool = False
    """Take checksums of what is written, as a roll's record keeps them."""
    threads: int = 1
    """Threads that share the bands of this picture."""

    @property
    def cut_by(self) -> QuadPx | None:
        """The picture on the film: as a person pointed at it in the recipe, else as it was found."""
        pointed = self.recipe.corners_px
        return self.corners if pointed is None else QuadPx.from_array(pointed)


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversionResult:
    """What became of a job."""

    raw_path: Path
    positive: Path | None
    proof: Path | None
    seconds: float
    size: SizePx
    warnings: tuple[str, ...]
    base: FilmBase
    steps: tuple[Step, ...]
    corners: QuadPx | None
    """The frame the picture was cut by, given or found."""
    recipe: str = ""
    """Id of the recipe."""
    positive_sha256: str = ""
    """Hex, of the file as it was written; this and the next are empty where the job does not ask for them."""
    proof_sha256: str = ""
    further: Mapping[str, Path] = field(default_factory=dict)
    """What it is ("jpeg", "linear", "density", "dust") -> file that was written besides."""
    further_sha256: Mapping[str, str] = field(default_factory=dict)
    """The same -> hex, of the file as it was written."""
    kept: tuple[str, ...] = ()
    """A sentence for each file that was in the way and is kept."""
