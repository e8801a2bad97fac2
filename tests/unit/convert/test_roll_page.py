"""The page to look through a roll: whole in itself, a list without script."""

import base64
import re
from html.parser import HTMLParser

from tethercap.convert.roll_page import PageFrame, roll_page

JPEG = b"\xff\xd8 not looked into here \xff\xd9"


class Reader(HTMLParser):
    """Collects what a browser would see."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in {"meta", "img"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in {"script", "style"}:
            self.text += data


def page() -> str:
    frames = [
        PageFrame("1", JPEG, (1500, 1000), "taken", (("exposure", "1/60 s"), ("take", "")), ("It is soft.",)),
        PageFrame("2", None, status="skipped", facts=(("why", 'torn <script>alert("x")</script>'),)),
        PageFrame("3", JPEG, (1000, 1500), "forced", picked=True),
    ]
    return roll_page(frames, title="Roll & co <7>", facts=(("by", "Invented Person"), ("rights", "")))


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


def test_the_list_is_there_without_script() -> None:
    seen = read(page())
    assert [value["alt"] for tag, value in seen.tags if tag == "img"] == ["Frame 1", "Frame 3"]
    for text in ("Frame 2", "skipped", "1/60 s", "It is soft.", "chosen", "Invented Person", "Roll & co <7>"):
        assert text in seen.text
    assert "take:" not in seen.text


def test_pictures_are_inside() -> None:
    (first, _) = (value for tag, value in read(page()).tags if tag == "img")
    source = str(first["src"])
    assert base64.b64decode(source.removeprefix("data:image/jpeg;base64,")) == JPEG


def test_nothing_is_fetched() -> None:
    text = page()
    for _, attributes in read(text).tags:
        for name in ("src", "href", "srcset", "action", "data"):
            assert str(attributes.get(name) or "#").startswith(("#", "data:"))
    assert not re.search(r"https?://|@import|url\(|fetch\(|XMLHttp", text)
    assert "default-src 'none'" in text


def test_words_of_people_are_no_markup() -> None:
    text = page()
    assert "<script>alert" not in text
    assert '&lt;script&gt;alert("x")' in text or "&lt;script&gt;alert(&quot;x&quot;)" in text


def test_light_and_dark_and_the_keys() -> None:
    text = page()
    assert "prefers-color-scheme:dark" in text
    for key in ("ArrowRight", "ArrowLeft", "Escape"):
        assert key in text


def test_the_same_roll_gives_the_same_page() -> None:
    assert page() == page()
