"""The open set of real dumps: every camera right in every field, also when its dump is told in another way."""

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from tests.unit.camera.words.bodies import widget
from tests.unit.camera.words.score import problems_by_file
from tests.unit.camera.words.shared_set import Record, cameras_folder, catalogues, expected, scorer
from tethercap.camera.words.answer import answer
from tethercap.camera.words.dump import Dump, parse_text, read_dumps, write_dump
from tethercap.camera.words.resolve import understand
from tethercap.camera.words.widgets import Widget, WidgetKind

FOLDER = cameras_folder()
pytestmark = pytest.mark.skipif(FOLDER is None, reason="the open set of dumps is not beside the repository")


@pytest.fixture(scope="module")
def folder() -> Path:
    """Where the set lies."""
    assert FOLDER is not None
    return FOLDER


@pytest.fixture(scope="module")
def dumps(folder: Path) -> list[Dump]:
    """Every camera of the set."""
    return read_dumps(folder / "open.jsonl.gz")


def _answer(dump: Dump, widgets: Sequence[Widget] | None = None) -> Record:
    shown = dump.widgets if widgets is None else widgets
    return answer(understand(shown, dump.model, make=dump.make), dump)


def test_every_camera_is_right_in_every_field(folder: Path) -> None:
    found = problems_by_file(folder)
    assert len(found) == 131
    assert {file: problems for file, problems in found.items() if problems} == {}


def test_every_answer_is_plain_json(dumps: list[Dump]) -> None:
    for dump in dumps:
        json.dumps(_answer(dump), allow_nan=False)


def test_a_camera_that_cannot_be_controlled_is_told_what_to_change(dumps: list[Dump]) -> None:
    for dump in dumps:
        told = _answer(dump)
        assert bool(told["why"]) is (told["report"] != "full"), dump.file


def _without_readonly(shown: Sequence[Widget]) -> list[Widget]:
    return [replace(one, readonly=None) for one in shown]


def _shuffled_choices(shown: Sequence[Widget]) -> list[Widget]:
    # Order means nothing where a list is one of figures; labels and codes of formats keep theirs.
    mixed = {"iso", "aperture", "f-number", "shutterspeed", "shutterspeed2", "exptime"}
    chance = random.Random(1)
    return [
        replace(one, choices=tuple(chance.sample(one.choices, len(one.choices)))) if one.name in mixed else one
        for one in shown
    ]


def _decimal_commas(shown: Sequence[Widget]) -> list[Widget]:
    figures = {"iso", "aperture", "f-number", "shutterspeed", "shutterspeed2", "exptime"}
    return [
        replace(
            one,
            current=str(one.current_text).replace(".", ","),
            choices=tuple(choice.replace(".", ",") for choice in one.choices),
        )
        if one.name in figures
        else one
        for one in shown
    ]


def _twice(shown: Sequence[Widget]) -> list[Widget]:
    return [*shown, *(replace(one, current="(null)", choices=()) for one in shown if one.name in ("iso", "aperture"))]


def _look_alikes(shown: Sequence[Widget]) -> list[Widget]:
    alike = [
        widget("movieiso", "51200", ["51200"]), widget("autoiso", "On", ["On", "Off"]), widget("isoauto", "On", ["On"]),
        widget("movief-number", "f/45", ["f/45"]), widget("movieshutterspeed", "1/50", ["1/50"]),
        widget("minimumshutterspeed", "1/60", ["1/60"]), widget("recordingmedia", "Card", ["Card", "SDRAM"]),
        widget("shuttercounter", "4711", kind=WidgetKind.TEXT), widget("autofocus", "On", ["On", "Off"]),
    ]  # fmt: skip
    return [*alike, *shown]


def _typed_figures(shown: Sequence[Widget]) -> list[Widget]:
    # The driver hands out RANGE as a number and TOGGLE as an integer; dumps hold texts.
    def typed(one: Widget) -> Widget:
        try:
            if one.kind is WidgetKind.RANGE:
                return replace(one, current=float(one.current_text.replace(",", ".")))
            return replace(one, current=int(one.current_text)) if one.kind is WidgetKind.TOGGLE else one
        except ValueError:
            return one

    return [typed(one) for one in shown]


@pytest.mark.parametrize(
    "told_otherwise",
    [_without_readonly, _shuffled_choices, _decimal_commas, _twice, _look_alikes, _typed_figures],
    ids=lambda function: function.__name__.strip("_"),
)
def test_telling_it_otherwise_changes_no_field(
    folder: Path, dumps: list[Dump], told_otherwise: Callable[[Sequence[Widget]], list[Widget]]
) -> None:
    score, right = scorer(folder), expected(folder)
    wrong = {dump.file: score(right[dump.file], _answer(dump, told_otherwise(dump.widgets))) for dump in dumps}
    assert {file: problems for file, problems in wrong.items() if problems} == {}


def test_empty_lists_never_invent_a_setting(dumps: list[Dump]) -> None:
    for dump in dumps:
        bare = [replace(one, choices=()) for one in dump.widgets]
        told = _answer(dump, bare)
        assert told["iso_values"] == told["aperture_values"] == told["shutter_values"] == []
        assert told["raw_only"] is None
        assert told["iso_current"] == _answer(dump)["iso_current"]


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_written_as_text_and_read_again_it_is_the_same_camera(folder: Path, dumps: list[Dump], line_end: str) -> None:
    score, right = scorer(folder), expected(folder)
    for dump in dumps:
        text = write_dump(dump.widgets).replace("\n", line_end)
        read = parse_text(text, dump.file)
        assert len(read.widgets) == len(dump.widgets), dump.file
        assert score(right[dump.file], _answer(dump, read.widgets)) == [], dump.file


def _as_old_front_end(text: str) -> str:
    lines = [line for line in text.splitlines() if line != "END" and not line.startswith("Readonly:")]
    return "\n".join(line.replace(" ", "\u00a0") if line.startswith("Choice:") else line for line in lines)


def test_dumps_of_the_old_front_end_are_read(folder: Path, dumps: list[Dump]) -> None:
    score, right = scorer(folder), expected(folder)
    for dump in dumps:
        noise = "*** Error ***\nPTP I/O Error\n"
        text = f"Model: {dump.model}\n{noise}" + _as_old_front_end(write_dump(dump.widgets))
        assert score(right[dump.file], _answer(dump, parse_text(text, dump.file).widgets)) == [], dump.file


def test_the_fullest_of_several_dumps_is_used(folder: Path, dumps: list[Dump]) -> None:
    score, right = scorer(folder), expected(folder)
    for dump in dumps[::5]:
        head = write_dump(dump.widgets[: max(2, len(dump.widgets) // 3)])
        read = parse_text(head + write_dump(dump.widgets) + head, dump.file)
        assert score(right[dump.file], _answer(dump, read.widgets)) == [], dump.file


# The Swedish catalogue prints '12 mm' for 1/60 and '30s' for 25s: nothing can be read there, and it is not pretended.
_WRONG_IN_THE_CATALOGUE = {"sv": {"1/60", "25s"}}


def _translated(texts: dict[str, str], shown: str) -> str:
    head, _, code = shown.rpartition(" ")
    if head == "Unknown value":
        return texts.get("Unknown value %04x", "Unknown value %04x").replace("%04x", code)
    return texts.get(shown, shown)


@pytest.mark.parametrize("language", sorted(catalogues()) or ["none"])
def test_in_any_language_of_the_driver_it_is_the_same_camera(folder: Path, dumps: list[Dump], language: str) -> None:
    """Texts are put into another language with the installed driver's own catalogue; figures and texts must follow."""
    if language == "none":
        pytest.skip("the installed driver has no message catalogues")
    mistakes = _WRONG_IN_THE_CATALOGUE.get(language, set())
    texts = {english: text for english, text in catalogues()[language].items() if english not in mistakes}
    score, right = scorer(folder), expected(folder)
    for dump in dumps:
        want = right[dump.file]
        if want["locale"]:
            continue
        foreign = [
            replace(
                one,
                name=_translated(texts, one.name) if one.name == "Battery Level" else one.name,
                label=_translated(texts, one.label),
                current=_translated(texts, one.current_text),
                choices=tuple(_translated(texts, choice) for choice in one.choices),
            )
            for one in dump.widgets
        ]
        assert score(_translated_record(texts, want), _answer(dump, foreign)) == [], dump.file


def _translated_record(texts: dict[str, str], record: Record) -> Record:
    def moved(value: object) -> object:
        return _translated(texts, value) if isinstance(value, str) else value

    words = {
        key: moved(record[key]) for key in ("raw_only", "raw_true_choice", "target_card", "target_ram", "target_both")
    }
    auto = record["iso_auto"]
    assert isinstance(auto, list)
    # Two labels may fall together in another language.
    return {**record, **words, "iso_auto": [moved(text) for text in auto]}
