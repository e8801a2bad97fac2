"""The door to PDF (fpdf2): pages of a contact sheet, text and lines as vectors, pictures as JPEG files hold them."""

from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import cv2
import fpdf

from tethercap import __version__
from tethercap.convert.sheet import Box, Page, Shown, Words
from tethercap.convert.sheet_raster import draw_words
from tethercap.image_files._whole import write_whole

_POINTS_PER_MM = 72 / 25.4
_FONT = "helvetica"
"""One of the fonts that every reader of PDF has (ISO 32000-1, 9.6.2.2)."""
_FONT_ENCODING = "cp1252"
"""Its letters are those of Windows-1252 (WinAnsiEncoding there, annex D); the library by itself goes by Latin-1."""
_SIZE = 0.72
"""Size of this font against that of the page's letters, so that both drawings look alike."""
_TEXT_DPI = 600
# The same sheet gives the same bytes.
_MADE_AT = datetime(2026, 1, 1, tzinfo=UTC)


def write_pdf(path: Path, pages: Sequence[Page], jpegs: Sequence[bytes], *, title: str) -> None:
    """Write pages as PDF through a temporary file. The same pages give the same bytes.

    Parameters
    ----------
    path : Path
        Target; a file of that name is replaced.
    pages : sequence of Page
    jpegs : sequence of bytes
        JPEG files of the pictures that the pages speak of; they go in as they are.
    title : str
        Shown by readers.

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    document = fpdf.FPDF(unit="mm")
    document.core_fonts_encoding = _FONT_ENCODING
    document.set_creation_date(_MADE_AT)
    document.set_title(title)
    document.set_producer(f"tethercap {__version__}")
    document.set_auto_page_break(False)
    document.set_margin(0)
    document.c_margin = 0
    for page in pages:
        # The library turns sizes given as landscape; as they are here, they are the page's own.
        document.add_page(format=(page.size.width_mm, page.size.height_mm))
        document.set_fill_color(*page.background)
        document.rect(0, 0, page.size.width_mm, page.size.height_mm, style="F")
        for item in page.items:
            _draw(document, item, jpegs)
    content = bytes(document.output())
    write_whole(path, lambda temporary: _write(temporary, content))


def _draw(document: fpdf.FPDF, item: Box | Words | Shown, jpegs: Sequence[bytes]) -> None:
    if isinstance(item, Box):
        _draw_box(document, item)
    elif isinstance(item, Words):
        _draw_words(document, item)
    else:
        _draw_picture(document, item, jpegs[item.picture])


def _draw_box(document: fpdf.FPDF, box: Box) -> None:
    if box.fill is not None:
        document.set_fill_color(*box.fill)
        document.rect(box.x_mm, box.y_mm, box.width_mm, box.height_mm, style="F")
    if box.line is not None:
        document.set_draw_color(*box.line)
        document.set_line_width(box.line_mm)
        document.rect(box.x_mm, box.y_mm, box.width_mm, box.height_mm, style="D")


def _draw_words(document: fpdf.FPDF, words: Words) -> None:
    if not words.text:
        return
    try:
        words.text.encode(_FONT_ENCODING)
    except UnicodeEncodeError:
        _draw_words_as_picture(document, words)
        return
    document.set_font(_FONT, "B" if words.is_bold else "", words.size_mm * _SIZE * _POINTS_PER_MM)
    document.set_text_color(*words.ink)
    width = document.get_string_width(words.text) if words.align == "right" else 0.0
    document.text(words.x_mm - width, words.baseline_mm, words.text)


def _draw_words_as_picture(document: fpdf.FPDF, words: Words) -> None:
    """Letters outside the reader's own font: OpenCV has them."""
    pixels, baseline_px = draw_words(words, _TEXT_DPI)
    _, png = cv2.imencode(".png", pixels)
    mm = 25.4 / _TEXT_DPI
    left = words.x_mm - (pixels.shape[1] * mm if words.align == "right" else 0.0)
    document.image(BytesIO(png.tobytes()), left, words.baseline_mm - baseline_px * mm, pixels.shape[1] * mm)


def _draw_picture(document: fpdf.FPDF, shown: Shown, jpeg: bytes) -> None:
    document.image(BytesIO(jpeg), shown.x_mm, shown.y_mm, shown.width_mm, shown.height_mm, keep_aspect_ratio=True)


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
