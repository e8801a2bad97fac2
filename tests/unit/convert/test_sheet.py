"""A roll laid out on paper: the film's order, nothing outside the page, everything as large as it can be."""

from itertools import pairwise

import numpy as np
import pytest

from tethercap.convert.sheet import (
    PAPERS,
    Box,
    Page,
    PaperSize,
    SheetFrame,
    SheetLook,
    SheetStyle,
    Shown,
    Words,
    lay_out_sheet,
)
from tethercap.convert.sheet_raster import draw_page, draw_words
from tethercap.pictures import U8Array

STYLE = SheetStyle(title="X31-007", subtitle="invented")


def roll(count: int, per_strip: int = 6) -> list[list[SheetFrame]]:
    frames = [SheetFrame(str(number + 1), number) for number in range(count)]
    return [frames[first : first + per_strip] for first in range(0, count, per_strip)]


def shown(page: Page) -> list[Shown]:
    return [item for item in page.items if isinstance(item, Shown)]


def words(page: Page) -> list[str]:
    return [item.text for item in page.items if isinstance(item, Words)]


@pytest.mark.parametrize("look", list(SheetLook))
@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("count", [0, 1, 6, 36, 40])
def test_everything_lies_on_the_paper(paper: str, count: int, look: SheetLook) -> None:
    style = SheetStyle(title="t", paper=PAPERS[paper], look=look)
    (page,) = lay_out_sheet(roll(count), style)
    assert sorted(page.size) == sorted(PAPERS[paper])
    assert len(shown(page)) == count
    for item in page.items:
        if isinstance(item, Box | Shown):
            assert item.x_mm >= 5
            assert item.y_mm >= 5
            assert item.x_mm + item.width_mm <= page.size.width_mm - 5
            assert item.y_mm + item.height_mm <= page.size.height_mm - 5


def test_six_strips_of_six_fill_24_by_30_nearly_at_the_films_own_size() -> None:
    (page,) = lay_out_sheet(roll(36), SheetStyle(title="t", paper=PAPERS["24x30"]))
    assert shown(page)[0].width_mm > 34


def test_paper_is_turned_whichever_way_shows_frames_larger() -> None:
    (few,) = lay_out_sheet(roll(6), SheetStyle(title="t", paper=PAPERS["a4"]))
    (many,) = lay_out_sheet(roll(36), SheetStyle(title="t", paper=PAPERS["a4"]))
    assert few.size.width_mm > few.size.height_mm
    assert many.size.width_mm < many.size.height_mm


def test_frames_lie_in_the_films_order_and_strips_keep_together() -> None:
    strips = [roll(6)[0], [SheetFrame("7", 6), SheetFrame("8", 7)], [SheetFrame("9", 8)]]
    (page,) = lay_out_sheet(strips, STYLE)
    places = shown(page)
    assert [place.picture for place in places] == list(range(9))
    assert all(here.x_mm < there.x_mm for here, there in pairwise(places[:6]))
    assert places[6].y_mm == places[7].y_mm > places[5].y_mm
    assert places[8].y_mm > places[7].y_mm
    assert {"7", "8", "9"} <= set(words(page))


def test_a_long_roll_goes_on_over_sheets() -> None:
    pages = lay_out_sheet(roll(250), SheetStyle(title="t", paper=PAPERS["a4"]))
    assert [place.picture for page in pages for place in shown(page)] == list(range(250))
    assert f"sheet 2 of {len(pages)}" in words(pages[1])
    assert all(place.width_mm >= 20 for page in pages for place in shown(page))


def test_picks_and_findings_are_marked_and_findings_told_at_the_foot() -> None:
    soft = SheetFrame("2", 1, findings=("It is a little soft.",))
    (page,) = lay_out_sheet([[SheetFrame("1", 0), soft, SheetFrame("3", 2, picked=True)]], STYLE)
    assert "2 !" in words(page)
    assert "2: It is a little soft." in words(page)
    rims = [item for item in page.items if isinstance(item, Box) and item.line is not None]
    assert len(rims) == 1
    assert rims[0].x_mm < shown(page)[2].x_mm < rims[0].x_mm + rims[0].width_mm


def test_a_foot_that_is_too_long_says_so() -> None:
    strips = [[SheetFrame(str(n), n, findings=("something",)) for n in range(6)] for _ in range(6)]
    (page,) = lay_out_sheet(strips, SheetStyle(title="t", paper=PAPERS["a4"]))
    assert any("23 more" in text for text in words(page))


def test_words_stay_within_their_room() -> None:
    long = "a very long note that no frame has room for, whatever the paper"
    (page,) = lay_out_sheet([[SheetFrame("36A", None, long)]], STYLE)
    (number, note) = (item for item in page.items if isinstance(item, Words) and item.baseline_mm > 25.0)
    assert note.text.endswith("…")
    drawn, _ = draw_words(note, 254.0)
    number_drawn, _ = draw_words(number, 254.0)
    assert note.x_mm - drawn.shape[1] / 10 > number.x_mm + number_drawn.shape[1] / 10


def plain(value: int, width: int = 300, height: int = 200) -> U8Array:
    return np.full((height, width, 3), value, np.uint8)


def places_of(sheet: U8Array, value: int) -> np.ndarray:
    return np.argwhere(np.all(sheet == value, axis=2))


def test_pictures_are_drawn_whole_and_unstretched_in_their_places() -> None:
    (page,) = lay_out_sheet([[SheetFrame("1", 0), SheetFrame("2", 1)]], STYLE)
    sheet = draw_page(page, [plain(111), plain(201, 200, 300)], 100.0)
    for value, ratio, place in ((111, 1.5, shown(page)[0]), (201, 2 / 3, shown(page)[1])):
        found = places_of(sheet, value)
        height, width = found.max(axis=0) - found.min(axis=0) + 1
        assert abs(width / height - ratio) < 0.05
        middle = (place.x_mm + place.width_mm / 2, place.y_mm + place.height_mm / 2)
        np.testing.assert_allclose(found.mean(axis=0)[::-1] / 100.0 * 25.4, middle, atol=0.5)


def test_letters_are_drawn_where_they_are_meant() -> None:
    page = Page(PaperSize(60, 20), (255, 255, 255), (Words(50.0, 12.0, 6.0, "36A Łódź", (0, 0, 0), "right", True),))
    sheet = draw_page(page, [], 254.0)
    rows, columns = np.nonzero(sheet.min(axis=2) < 100)
    assert columns.max() / 10 == pytest.approx(50.0, abs=0.5)
    assert 115 <= rows.max() <= 135
    assert columns.min() / 10 > 20
