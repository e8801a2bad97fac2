"""Reads Sixel text back into pixels, character by character; shares nothing with the writer.

DEC VT330/VT340 Programmer Reference Manual, volume 2, chapter 14: data characters ``?`` to ``~`` are six pixels, top
one lowest bit; ``!`` count repeats; ``#`` number chooses a colour, with ``;2;r;g;b`` in percent defines it; ``$`` goes
to the band's left; ``-`` to the next band; ``"`` pan; pad; width; height.
"""

import numpy as np

from tethercap.pictures import U8Array


def read_sixel(text: str) -> tuple[U8Array, U8Array]:
    """Pixels RGB and which of them were drawn."""
    assert text.startswith("\x1bP") and text.endswith("\x1b\\")
    body = text[text.index("q") + 1 : -2]
    pixels, drawn = np.zeros((2000, 2000, 3), np.uint8), np.zeros((2000, 2000), np.uint8)
    palette: dict[int, tuple[int, int, int]] = {}
    at = x = band = colour = width = height = 0

    def numbers(start: int) -> tuple[list[int], int]:
        end = start
        while end < len(body) and (body[end].isdigit() or body[end] == ";"):
            end += 1
        return [int(part or 0) for part in body[start:end].split(";")], end

    while at < len(body):
        character = body[at]
        at += 1
        repeat = 1
        if character == '"':
            (_, _, width, height), at = numbers(at)
        elif character == "#":
            given, at = numbers(at)
            colour = given[0]
            if len(given) == 5:
                assert given[1] == 2
                red, green, blue = (round(level * 255 / 100) for level in given[2:])
                palette[colour] = (red, green, blue)
        elif character == "$":
            x = 0
        elif character == "-":
            x, band = 0, band + 1
        else:
            if character == "!":
                (repeat,), at = numbers(at)
                character, at = body[at], at + 1
            bits = ord(character) - ord("?")
            assert 0 <= bits < 64
            for row in range(6):
                if bits >> row & 1:
                    pixels[band * 6 + row, x : x + repeat] = palette[colour]
                    drawn[band * 6 + row, x : x + repeat] += 1
            x += repeat
    return pixels[:height, :width], drawn[:height, :width]
