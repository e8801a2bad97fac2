"""Numbers of the bodies: names of files, the bytes of the card, settings on the wire."""

from __future__ import annotations

import pytest

from mock_camera.bodies.properties import fraction, stops
from mock_camera.bodies.x0b import eighths, pack_format, read_format
from mock_camera.bodies.x0e import exact_microseconds
from mock_camera.bodies.x1c import shutter_code
from mock_camera.card import CARD_ID, Card, NameCounter
from mock_camera.codes import Format
from mock_camera.datasets import ObjectInfo
from mock_camera.settings import F_NUMBERS, TIMES_S, Settings


def test_names_wrap_and_folders_rise() -> None:
    names = NameCounter(9998)
    stems = [names.next_stem() for _ in range(4)]
    assert stems == [("100TCAP", "TCAP9998"), ("100TCAP", "TCAP9999"), ("101TCAP", "TCAP0001"), ("101TCAP", "TCAP0002")]


def test_the_card_keeps_bytes_and_forgets_what_is_deleted() -> None:
    card = Card(10_000)
    try:
        _, folder, stem = card.next_stem()
        first = card.add_file(ObjectInfo(CARD_ID, Format.DNG, 5000, stem, parent=folder), bytes(5000), b"")
        second = card.add_file(ObjectInfo(CARD_ID, Format.DNG, 4, stem, parent=folder), b"abcd", b"")
        assert (first.read(4990, 100), second.read(1, 2), second.read(4, 9), second.read(9, 1)) == (
            bytes(10),
            b"bc",
            b"",
            b"",
        )
        assert card.free_bytes == 10_000 - 5004
        card.delete(folder)
        assert [stored.info.name for stored in card.on_card()] == ["DCIM"]
        assert card.free_bytes == 10_000
        waiting = card.buffer_file(ObjectInfo(CARD_ID, Format.DNG, 2, "x", parent=folder), b"ab", b"")
        assert waiting.info.storage == 0
        assert [stored.handle for stored in card.buffered()] == [waiting.handle]
        card.drop_buffered(waiting.handle)
        assert card.find(waiting.handle) is None
    finally:
        card.close()


def test_settings_take_their_values_only() -> None:
    settings = Settings({"iso": 400})
    assert settings.get("iso") == 400
    assert settings.nearest("time_s", 1 / 54) == 1 / 50
    assert settings.nearest("f_number", 5.5) == 5.6
    assert settings.nearest("bias_ev", -0.9) == -1.0
    with pytest.raises(ValueError, match="iso cannot be 401"):
        settings.put("iso", 401)
    with pytest.raises(KeyError):
        settings.put("wind", 1)


def test_units_of_the_standard() -> None:
    """ISO 15740: exposure time in 0.1 ms, f-number in hundredths."""
    times = stops(TIMES_S, 10_000)
    assert (times[1 / 125], times[1 / 800], times[1 / 4000], times[30.0]) == (80, 12, 2, 300_000)
    assert stops(F_NUMBERS, 100)[5.6] == 560
    assert len(set(times.values())) == len(times) == len(TIMES_S)


def test_units_of_the_families() -> None:
    """Figures as the driver's own tables pair them with their names."""
    assert [eighths(n, 0x38) for n in (0, 1, -1, 1 / 3, -1 / 3)] == [0x38, 0x40, 0x30, 0x3B, 0x35]
    assert [exact_microseconds(t) for t in (8, 1, 1 / 30, 1 / 60, 1 / 80, 1 / 4000)] == [
        8_000_000,
        1_000_000,
        31_250,
        15_625,
        12_401,
        244,
    ]
    assert [shutter_code(t) for t in (2.0, 1.0, 0.5, 1 / 60)] == [2000 | 1 << 31, 1000 | 1 << 31, 2000, 60_000]
    assert [fraction(t) for t in (30.0, 0.3, 1 / 60)] == [300 << 16 | 10, 3 << 16 | 10, 1 << 16 | 60]
    for code in (0x0CFF, 0x0C03, 0x03FF):
        assert read_format(pack_format(code)) == code
