"""A roll's contact sheet: what goes on it gathered from the record, pictures from proofs or RAWs, written as asked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np

from tethercap.convert.crop import quad_or_none
from tethercap.convert.light_table import Stretch, lit_part, show_on_light_table, stretch_of, stretch_seen
from tethercap.convert.roll_page import PageFrame, roll_page
from tethercap.convert.sheet import Page, PaperSize, SheetFrame, SheetLook, SheetStyle, lay_out_sheet
from tethercap.convert.sheet_raster import draw_page
from tethercap.errors import PictureError, UnreadablePictureError
from tethercap.film.formats import FilmFormat
from tethercap.geometry import RectPx
from tethercap.image_files.jpeg import LONGEST_SIDE_PX, decode_jpeg, decode_positive, encode_jpeg, write_jpeg
from tethercap.image_files.pdf import write_pdf
from tethercap.image_files.raw import read_raw
from tethercap.image_files.text import write_text
from tethercap.pictures import ShotData, U8Array
from tethercap.roll.lines import Converted
from tethercap.roll.names import FrameId
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import FrameRecord, FrameStatus, TakeRecord, second_id
from tethercap.roll.view import RollView

_PAPER_DPI = 300.0
_PAGE_LONG_SIDE_PX = 1500
_MM_PER_INCH = 25.4


class SheetForm(StrEnum):
    """What a sheet is written as."""

    JPEG = "jpeg"
    PDF = "pdf"
    HTML = "html"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOrder:
    """What sheet is wanted."""

    form: SheetForm = SheetForm.JPEG
    look: SheetLook = SheetLook.PRINT
    paper: PaperSize | None = None
    """None makes a JPEG as large as the roll needs."""
    per_strip: int | None = None
    """None: as the film is cut."""
    frame_width_px: int = 480
    """Width of a frame on a JPEG that has no paper."""


@dataclass(frozen=True, slots=True)
class Strip:
    """Frames that were on one piece of film."""

    frames: tuple[FrameRecord, ...]


@dataclass(frozen=True, slots=True)
class _OnFilm:
    """One frame as it lies on the film: a frame of the record, or the second of two in one shot."""

    number: FrameId
    frame: FrameRecord
    converted: Converted | None
    """Its positive."""

    @property
    def take(self) -> TakeRecord | None:
        return self.frame.chosen


def _on_film(frames: Mapping[FrameId, FrameRecord], frame: FrameRecord) -> list[_OnFilm]:
    """Give a frame, and the second one that its shot shows, if any."""
    take, second = frame.chosen, second_id(frames, frame.frame_id)
    if take is None:
        return [_OnFilm(frame.frame_id, frame, None)]
    found = [_OnFilm(frame.frame_id, frame, take.converted)]
    return [*found, _OnFilm(second, frame, take.second)] if second is not None and take.second is not None else found


@dataclass(slots=True)
class _Pictures:
    """JPEG files of a sheet's pictures, gathered while it is laid out."""

    jpegs: list[bytes] = field(default_factory=list)

    def add(self, jpeg: bytes) -> int:
        self.jpegs.append(jpeg)
        return len(self.jpegs) - 1


def strips_of(frames: Mapping[FrameId, FrameRecord], per_strip: int) -> list[Strip]:
    """Put a roll's frames into strips, in the film's order.

    Frames lie together as they were put into the holder, where the record knows; a strip longer than `per_strip` goes
    on in the next, and frames that nobody photographed stay with the one before.
    """
    strips: list[list[FrameRecord]] = []
    before: int | None = None
    for frame_id in sorted(frames):
        frame = frames[frame_id]
        number = frame.chosen.filed.strip if frame.chosen is not None else None
        is_other = number is not None and before is not None and number != before
        if not strips or is_other or len(strips[-1]) == per_strip:
            strips.append([])
        strips[-1].append(frame)
        before = number if number is not None else before
    return [Strip(tuple(strip)) for strip in strips]


def write_sheets(
    view: RollView,
    film_format: FilmFormat,
    order: SheetOrder,
    stem: Path,
    *,
    name: Callable[[Path], Path] = lambda path: path,
) -> list[Path]:
    """Write a roll's contact sheet.

    A picture that cannot be read is left out with a note; the sheet is made all the same.

    Parameters
    ----------
    view : RollView
    film_format : FilmFormat
        The roll's.
    order : SheetOrder
    stem : Path
        Name of the files without their ending; pages after the first end in _2, _3 ...
    name : callable
        Gives the name that a file is written under for now, where it is to be put in its place by another.

    Returns
    -------
    list of Path
        The files, by the names that are to be theirs.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    if order.form is SheetForm.HTML:
        path = stem.with_name(stem.name + ".html")
        write_text(name(path), _html(view, film_format))
        return [path]
    pictures = _Pictures()
    show = _shower(view, film_format, order)
    per_strip = order.per_strip or film_format.frames_per_strip
    strips = [
        [each for frame in strip.frames for each in _sheet_frames(view, frame, order, show, pictures)]
        for strip in strips_of(view.frames, per_strip)
    ]
    style = _style(view.setup, film_format, order, pictures.jpegs)
    if sum(map(len, strips)) > len(view.frames):
        style = replace(
            style, per_strip=2 * per_strip, frame_ratio=_usual_ratio(pictures.jpegs, otherwise=style.frame_ratio)
        )
    pages = lay_out_sheet(strips, style)
    if order.form is SheetForm.PDF:
        path = stem.with_name(stem.name + ".pdf")
        write_pdf(name(path), pages, pictures.jpegs, title=_title(view.setup))
        return [path]
    return _write_jpegs(pages, pictures.jpegs, order, stem, name)


def _write_jpegs(
    pages: Sequence[Page], jpegs: Sequence[bytes], order: SheetOrder, stem: Path, name: Callable[[Path], Path]
) -> list[Path]:
    pixels = [decode_jpeg(jpeg) for jpeg in jpegs]
    dpi = _PAPER_DPI if order.paper is not None else order.frame_width_px / 40.0 * _MM_PER_INCH
    paths = []
    for number, page in enumerate(pages, start=1):
        path = stem.with_name(f"{stem.name}{'' if number == 1 else f'_{number}'}.jpg")
        # A roll of very many strips is drawn as large as a JPEG can be.
        most = LONGEST_SIDE_PX / max(page.size) * _MM_PER_INCH
        write_jpeg(name(path), draw_page(page, pixels, min(dpi, most)), quality=92)
        paths.append(path)
    return paths


def _style(setup: RollSetup, film_format: FilmFormat, order: SheetOrder, jpegs: Sequence[bytes]) -> SheetStyle:
    about = (setup.film_stock, film_format.name, setup.taken_on, setup.place, setup.creator)
    ratio = film_format.along_mm / film_format.across_mm
    if order.look is SheetLook.LIGHT_TABLE:
        ratio = _usual_ratio(jpegs, otherwise=ratio)
    return SheetStyle(
        title=_title(setup),
        subtitle="   ".join(part for part in about if part),
        paper=order.paper,
        look=order.look,
        frame_ratio=ratio,
        per_strip=order.per_strip or film_format.frames_per_strip,
    )


def _usual_ratio(jpegs: Sequence[bytes], *, otherwise: float) -> float:
    """Width over height of most pictures, or what is said for a sheet without any."""
    shapes = [decode_jpeg(jpeg, reduced=8).shape for jpeg in jpegs]
    return float(np.median([width / height for height, width, _ in shapes])) if shapes else otherwise


def _title(setup: RollSetup) -> str:
    return " ".join(part for part in (setup.id, setup.title) if part)


def _picture_width_px(film_format: FilmFormat, order: SheetOrder) -> int:
    """Pixels that a frame's longer side gets on the sheet."""
    if order.paper is None:
        width = float(order.frame_width_px)
    else:
        per_strip = order.per_strip or film_format.frames_per_strip
        width = max(order.paper) / per_strip / _MM_PER_INCH * _PAPER_DPI
    return round(width * max(1.0, film_format.across_mm / film_format.along_mm))


def _shower(view: RollView, film_format: FilmFormat, order: SheetOrder) -> Callable[[_OnFilm], bytes | None]:
    """Make the function that gives the JPEG of a frame that was taken, as the sheet shows it."""
    width_px = _picture_width_px(film_format, order)
    if order.look is SheetLook.PRINT:
        return lambda each: _proof(view, each.converted, width_px)
    takes = [frame.chosen for frame in view.frames.values() if frame.chosen is not None]
    stretch = _common_stretch(view, takes, film_format)
    long_side = round(width_px * (film_format.along_mm + 2 * stretch.along_mm) / film_format.along_mm)
    # The film is shown also where no picture of it was good enough.
    return lambda each: _negative(view, film_format, each.take or each.frame.takes[-1], long_side, stretch)


def _common_stretch(view: RollView, takes: Sequence[TakeRecord], film_format: FilmFormat) -> Stretch:
    for take in takes:
        try:
            raw = read_raw(view.path / take.filed.file)
        except PictureError:
            continue
        # A slide is as dark beside its pictures as the holder is.
        seen = lit_part(raw) if view.setup.film_kind.is_negative else RectPx(0, 0, *raw.size)
        corners = [quad_or_none(each.filed.corners_px) for each in takes]
        return stretch_seen([quad for quad in corners if quad is not None], seen, film_format)
    return stretch_of(film_format)


def _sheet_frames(
    view: RollView,
    frame: FrameRecord,
    order: SheetOrder,
    show: Callable[[_OnFilm], bytes | None],
    pictures: _Pictures,
) -> list[SheetFrame]:
    on_film = _on_film(view.frames, frame)
    if order.look is SheetLook.PRINT:
        return [_sheet_frame(each, show, pictures) for each in on_film]
    # A shot is one piece of film, with however many frames on it.
    whole = _sheet_frame(on_film[0], show, pictures)
    return [replace(whole, number=", ".join(str(each.number) for each in on_film))]


def _sheet_frame(each: _OnFilm, show: Callable[[_OnFilm], bytes | None], pictures: _Pictures) -> SheetFrame:
    frame = each.frame
    note = "" if frame.status is FrameStatus.TAKEN else frame.status.value
    jpeg = show(each) if frame.takes else None
    place = None if jpeg is None else pictures.add(jpeg)
    if jpeg is None and each.take is not None:
        note = "not converted" if each.converted is None else "not readable"
    return SheetFrame(str(each.number), place, note, _found(each.take), frame.picked is not None)


def _found(take: TakeRecord | None) -> tuple[str, ...]:
    return () if take is None else tuple(finding.text for finding in take.filed.findings)


def _proof(view: RollView, converted: Converted | None, width_px: int) -> bytes | None:
    """A positive's proof, no larger than the sheet can show."""
    if converted is None or not converted.proof:
        return None
    try:
        jpeg = (view.path / converted.proof).read_bytes()
        quarter = decode_positive(jpeg, reduced=4)
        # A quarter of a 3,000 px proof is often wide enough, and decodes many times faster.
        return _shrunk(quarter if max(quarter.shape[:2]) >= width_px else decode_positive(jpeg), width_px)
    except (OSError, UnreadablePictureError):
        return None


def _negative(
    view: RollView, film_format: FilmFormat, take: TakeRecord, long_side_px: int, stretch: Stretch
) -> bytes | None:
    try:
        raw = read_raw(view.path / take.filed.file)
    except PictureError:
        return None
    corners = quad_or_none(take.filed.corners_px)
    shown = show_on_light_table(raw, corners, film_format, long_side_px, stretch=stretch)
    return encode_jpeg(np.ascontiguousarray(shown[:, ::-1]) if take.filed.mirrored else shown, quality=90)


def _shrunk(pixels: U8Array, long_side_px: int) -> bytes:
    factor = long_side_px / max(pixels.shape[:2])
    if factor < 1:
        size = (max(round(pixels.shape[1] * factor), 1), max(round(pixels.shape[0] * factor), 1))
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    return encode_jpeg(pixels, quality=88)


def _html(view: RollView, film_format: FilmFormat) -> str:
    setup = view.setup
    on_film = [each for frame_id in sorted(view.frames) for each in _on_film(view.frames, view.frames[frame_id])]
    frames = [_page_frame(view, each) for each in on_film]
    taken = sum(frame.jpeg is not None for frame in frames)
    about = [
        ("film", " ".join(part for part in (setup.film_stock, setup.film_kind.value.replace("-", " ")) if part)),
        ("format", film_format.name),
        ("taken", setup.taken_on),
        ("place", setup.place),
        ("by", setup.creator),
        ("rights", setup.rights),
        ("frames", f"{len(frames)}, {taken} with a picture"),
        ("about", setup.caption),
    ]
    return roll_page(frames, title=_title(setup), facts=about)


def _page_frame(view: RollView, each: _OnFilm) -> PageFrame:
    frame, take = each.frame, each.take
    jpeg = _proof(view, each.converted, _PAGE_LONG_SIDE_PX)
    size = (3, 2)
    if jpeg is not None:
        height, width = decode_jpeg(jpeg).shape[:2]
        size = (width, height)
    notes = view.setup.notes_for(each.number)
    setup = view.setup
    facts = [
        ("title", notes.title if notes.title != setup.title else ""),
        ("caption", notes.caption if notes.caption != setup.caption else ""),
        ("taken", notes.taken_on if notes.taken_on != setup.taken_on else ""),
        ("place", notes.place if notes.place != setup.place else ""),
        ("why", frame.skipped_why or ""),
    ]
    if take is not None:
        facts += _facts_of(frame, take)
    return PageFrame(
        number=str(each.number),
        jpeg=jpeg,
        size_px=size,
        status=frame.status.value,
        facts=tuple((name, value) for name, value in facts if value),
        findings=_found(take),
        picked=frame.picked is not None,
    )


def _facts_of(frame: FrameRecord, take: TakeRecord) -> list[tuple[str, str]]:
    filed = take.filed
    takes = f"{take.number} of {len(frame.takes)}" if len(frame.takes) > 1 else ""
    offset = "" if filed.offset_mm is None else " / ".join(_signed(value) for value in filed.offset_mm) + " mm"
    return [
        ("take", takes),
        ("copied", filed.taken_at.replace("T", " ")[:19]),
        ("exposure", _exposure(filed.shot)),
        ("off centre", offset),
        ("turned", "" if filed.tilt_deg is None else f"{_signed(filed.tilt_deg)}°"),
        ("strip", str(filed.strip or "")),
        ("file", filed.file),
    ]


def _signed(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}"


def _exposure(shot: ShotData | None) -> str:
    if shot is None:
        return ""
    time = ""
    if shot.exposure_s:
        time = f"1/{1 / shot.exposure_s:.0f} s" if shot.exposure_s < 0.3 else f"{shot.exposure_s:g} s"
    return ", ".join(
        part
        for part in (time, f"f/{shot.f_number:g}" if shot.f_number else "", f"ISO {shot.iso}" if shot.iso else "")
        if part
    )
