"""Sheets as PDF, read back by another program (PDFium)."""

from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from tethercap.convert.sheet import Box, Page, PaperSize, Shown, Words
from tethercap.errors import StorageError
from tethercap.image_files.jpeg import encode_jpeg
from tethercap.image_files.pdf import write_pdf

PAPER = PaperSize(210.0, 297.0)


def coloured(blue: int, green: int, red: int) -> bytes:
    return encode_jpeg(np.full((200, 300, 3), (blue, green, red), np.uint8))


@pytest.fixture
def page() -> Page:
    return Page(
        PAPER,
        (255, 255, 255),
        (
            Box(20.0, 30.0, 60.0, 40.0, fill=(10, 20, 30)),
            Shown(30.0, 100.0, 60.0, 60.0, 0),
            Words(20.0, 20.0, 6.0, "X31-007 title × 36A", (0, 0, 0), is_bold=True),
            Words(190.0, 25.0, 6.0, "Łódź", (0, 0, 0), "right"),
        ),
    )


def render(path: Path, dpi: float = 72.0) -> np.ndarray:
    document = pypdfium2.PdfDocument(path)
    try:
        return np.array(document[0].render(scale=dpi / 72.0).to_pil().convert("RGB"))
    finally:
        document.close()


def at(picture: np.ndarray, x_mm: float, y_mm: float, dpi: float = 72.0) -> list[int]:
    return [int(value) for value in picture[round(y_mm / 25.4 * dpi), round(x_mm / 25.4 * dpi)]]


def test_paper_boxes_and_pictures_are_where_they_belong(page: Page, tmp_path: Path) -> None:
    write_pdf(tmp_path / "a.pdf", [page], [coloured(200, 100, 50)], title="t")
    picture = render(tmp_path / "a.pdf")
    assert picture.shape[:2] == (pytest.approx(842, abs=1), pytest.approx(595, abs=1))
    assert at(picture, 50, 50) == [10, 20, 30]
    assert at(picture, 10, 50) == [255, 255, 255]
    np.testing.assert_allclose(at(picture, 60, 130), [50, 100, 200], atol=3)
    # A picture of 3 : 2 in a square place leaves a sixth free above and below.
    assert at(picture, 60, 108) == [255, 255, 255]
    np.testing.assert_allclose(at(picture, 60, 112), [50, 100, 200], atol=3)


def test_text_is_text(page: Page, tmp_path: Path) -> None:
    write_pdf(tmp_path / "a.pdf", [page, page], [coloured(1, 2, 3)], title="Roll X31-007")
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    try:
        assert len(document) == 2
        assert "X31-007 title × 36A" in document[0].get_textpage().get_text_range()
        assert document.get_metadata_dict()["Title"] == "Roll X31-007"
    finally:
        document.close()


@pytest.mark.parametrize("words", ["Zoë – “six” … it’s 5 €", "a text that was cut off…"])
def test_dashes_quotes_and_the_sign_of_what_was_cut_off_are_text_too(words: str, tmp_path: Path) -> None:
    pages = [Page(PAPER, (255, 255, 255), (Words(190.0, 20.0, 6.0, words, (0, 0, 0), "right"),))]
    write_pdf(tmp_path / "a.pdf", pages, [], title=words)
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    try:
        assert document[0].get_textpage().get_text_range() == words
    finally:
        document.close()


def test_letters_the_readers_font_lacks_are_drawn(page: Page, tmp_path: Path) -> None:
    write_pdf(tmp_path / "a.pdf", [page], [coloured(1, 2, 3)], title="t")
    picture = render(tmp_path / "a.pdf", 254.0)
    part = picture[180:275, 1500:1960].min(axis=2)
    rows, columns = np.nonzero(part < 128)
    assert columns.max() + 1500 == pytest.approx(1900, abs=8)
    assert rows.max() + 180 == pytest.approx(250, abs=14)
    assert len(columns) > 300


def test_the_same_pages_give_the_same_bytes(page: Page, tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_pdf(tmp_path / name, [page], [coloured(1, 2, 3)], title="t")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_jpegs_go_in_as_they_are(page: Page, tmp_path: Path) -> None:
    jpeg = coloured(9, 80, 160)
    write_pdf(tmp_path / "a.pdf", [page], [jpeg], title="t")
    assert jpeg in (tmp_path / "a.pdf").read_bytes()


def test_a_folder_that_is_gone_is_a_clear_error(page: Page, tmp_path: Path) -> None:
    with pytest.raises(StorageError):
        write_pdf(tmp_path / "gone" / "a.pdf", [page], [coloured(1, 2, 3)], title="t")
