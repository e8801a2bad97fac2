"""Pictures by the kitty protocol, taken apart as its documentation says and compared pixel by pixel."""

import base64
import os
import re
import zlib
from pathlib import Path

import numpy as np

from tests.tui.drawn_film import live_frame
from tethercap.geometry import SizePx
from tethercap.pictures import U8Array
from tethercap.tui import kitty
from tethercap.tui.cells import Depth
from tethercap.tui.overlay import Drawing, Ink, LiveScene
from tethercap.tui.painters import KittyPainter
from tethercap.tui.quality import Step

NOISE: U8Array = np.random.default_rng(3).integers(0, 256, (40, 60, 3), dtype=np.uint8)


def _commands(text: str) -> list[tuple[dict[str, str], str]]:
    """Keys and payload of each command; nothing else may stand between them."""
    found = re.findall(r"\x1b_G([^;\x1b]*);?([^\x1b]*)\x1b\\", text)
    assert "".join(f"\x1b_G{keys}{';' if load or ';' in keys else ''}{load}\x1b\\" for keys, load in found) == text
    return [(dict(pair.split("=") for pair in keys.split(",")), load) for keys, load in found]


def test_pixels_down_the_line_come_out_as_they_went_in() -> None:
    commands = _commands(kitty.place_direct(NOISE, 9, 30, 10))
    first = commands[0][0]
    assert (first["a"], first["f"], first["i"], first["c"], first["r"]) == ("T", "24", "9", "30", "10")
    assert [keys["m"] for keys, _ in commands] == ["1"] * (len(commands) - 1) + ["0"]
    assert all(len(load) <= 4096 for _, load in commands)
    pixels = zlib.decompress(base64.b64decode("".join(load for _, load in commands)))
    assert np.array_equal(np.frombuffer(pixels, np.uint8).reshape(int(first["v"]), int(first["s"]), 3), NOISE)


def test_pixels_in_memory_are_named_sized_and_readable_by_the_owner_alone(tmp_path: Path) -> None:
    text, path = kitty.place_shared(NOISE, 9, 30, 10, tmp_path)
    ((keys, load),) = _commands(text)
    assert keys["t"] == "s"
    assert base64.b64decode(load).decode() == f"/{path.name}"
    assert path.read_bytes() == NOISE.tobytes()
    assert int(keys["S"]) == path.stat().st_size
    assert path.stat().st_mode & 0o077 == 0


def _scene() -> LiveScene:
    return LiveScene(live_frame(1, 0.0).pixels_bgr, Drawing(), Ink())


def test_pictures_take_turns_and_the_one_before_goes_after_the_new_one_is_there(tmp_path: Path) -> None:
    painter = KittyPainter(SizePx(8, 16), shared=True, memory=tmp_path)
    ids = []
    for _ in range(3):
        shown = painter.paint(_scene(), 20, 60, Step(Depth.BITS_24, 30))
        (placed, _), (removed, _) = _commands(shown.pixels)
        assert (placed["a"], removed["a"], removed["d"]) == ("T", "d", "I")
        ids.append((placed["i"], removed["i"]))
        assert shown.shape == (20, 60)
    assert ids[0] == ids[2] == ids[1][::-1]
    assert {keys["i"] for keys, _ in _commands(painter.erase())} == set(ids[0])


def test_what_the_terminal_never_took_is_given_back(tmp_path: Path) -> None:
    painter = KittyPainter(SizePx(8, 16), shared=True, memory=tmp_path)
    for _ in range(5):
        painter.paint(_scene(), 20, 60, Step(Depth.BITS_24, 30))
    assert len(list(tmp_path.iterdir())) <= 2
    painter.close()
    assert not list(tmp_path.iterdir())


def test_memory_that_is_full_sends_the_pixels_down_the_line(tmp_path: Path) -> None:
    painter = KittyPainter(SizePx(8, 16), shared=True, memory=tmp_path / "not-there")
    commands = _commands(painter.paint(_scene(), 20, 60, Step(Depth.BITS_24, 30)).pixels)
    assert commands[0][0]["t"] == "d"


def test_a_coarser_step_hands_over_fewer_pixels_for_the_same_cells(tmp_path: Path) -> None:
    painter = KittyPainter(SizePx(8, 16), shared=True, memory=tmp_path)
    fine, coarse = (
        _commands(painter.paint(_scene(), 20, 60, Step(Depth.BITS_24, 30, size)).pixels)[0][0] for size in (1, 2)
    )
    assert (fine["s"], fine["v"]) == ("480", "320")
    assert (coarse["s"], coarse["v"]) == ("240", "160")
    assert (coarse["c"], coarse["r"]) == (fine["c"], fine["r"]) == ("60", "20")


def test_what_a_killed_program_left_is_swept_and_nothing_else(tmp_path: Path) -> None:
    old, young, strange = (tmp_path / f"tethercap-{name}" for name in ("0123456789abcdef", "f" * 16, "not-a-picture"))
    for path in (old, young, strange):
        path.write_bytes(b"x")
    now_s = old.stat().st_mtime
    os.utime(old, (now_s - 3600, now_s - 3600))
    os.utime(strange, (now_s - 3600, now_s - 3600))
    kitty.sweep(tmp_path, now_s)
    assert {path.name for path in tmp_path.iterdir()} == {young.name, strange.name}
