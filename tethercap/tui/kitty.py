"""Pictures by the kitty graphics protocol: pixels handed over in shared memory, or down the line.

Protocol: "Terminal graphics protocol" of the kitty documentation: APC, ``G``, keys, ``;``, payload, ST.
"""

import base64
import os
import uuid
import zlib
from contextlib import suppress
from pathlib import Path

import numpy as np

from tethercap.pictures import U8Array

_LEFT_OVER_S = 600.0
_PIECE = 4096
"""Longest payload of one command, bytes."""


def place_direct(pixels_rgb: U8Array, image_id: int, columns: int, rows: int) -> str:
    """Commands that show a picture at the cursor over so many cells; the pixels are in them, compressed.

    Parameters
    ----------
    pixels_rgb : ndarray
        Shape (height, width, 3).
    """
    payload = base64.b64encode(zlib.compress(np.ascontiguousarray(pixels_rgb).tobytes(), 1)).decode("ascii")
    pieces = [payload[start : start + _PIECE] for start in range(0, len(payload), _PIECE)]
    keys = f"{_keys(pixels_rgb, image_id, columns, rows)},t=d,o=z"
    commands = [f"\x1b_G{keys},m={int(len(pieces) > 1)};{pieces[0]}\x1b\\"]
    for number, piece in enumerate(pieces[1:], start=2):
        commands.append(f"\x1b_Gm={int(number < len(pieces))},q=2;{piece}\x1b\\")
    return "".join(commands)


def place_shared(pixels_rgb: U8Array, image_id: int, columns: int, rows: int, memory: Path) -> tuple[str, Path]:
    """Command that shows a picture which lies in shared memory; the terminal takes it out of there.

    Parameters
    ----------
    pixels_rgb : ndarray
    memory : Path
        Folder that is the machine's shared memory.

    Returns
    -------
    command : str
    path : Path
        Where the pixels wait; still there only if no terminal took them.

    Raises
    ------
    OSError
        If the memory is full.
    """
    path = memory / f"tethercap-{uuid.uuid4().hex[:16]}"
    with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as shared:
        shared.write(np.ascontiguousarray(pixels_rgb).data)
    name = base64.b64encode(f"/{path.name}".encode()).decode("ascii")
    size = pixels_rgb.size
    return f"\x1b_G{_keys(pixels_rgb, image_id, columns, rows)},t=s,S={size};{name}\x1b\\", path


def sweep(memory: Path, now_s: float) -> None:
    """Take back old pictures that no terminal took because it or the program was killed.

    Parameters
    ----------
    now_s : float
        Seconds since the epoch; what is younger than ten minutes may still be taken.
    """
    for path in memory.glob("tethercap-" + "[0-9a-f]" * 16):
        with suppress(OSError):
            if now_s - path.stat().st_mtime > _LEFT_OVER_S:
                path.unlink()


def place_again(image_id: int, columns: int, rows: int) -> str:
    """Command that shows a picture once more that the terminal has: shared memory can be taken but once."""
    return f"\x1b_Ga=p,i={image_id},p=1,c={columns},r={rows},C=1,q=2\x1b\\"


def remove(image_id: int) -> str:
    """Command that takes a picture off the screen and forgets it."""
    return f"\x1b_Ga=d,d=I,i={image_id},q=2\x1b\\"


def _keys(pixels_rgb: U8Array, image_id: int, columns: int, rows: int) -> str:
    height, width = pixels_rgb.shape[:2]
    # C=1 leaves the cursor where it is, q=2 wants no answers.
    return f"a=T,f=24,s={width},v={height},i={image_id},p=1,c={columns},r={rows},C=1,q=2"
