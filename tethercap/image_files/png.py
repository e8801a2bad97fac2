"""The door to PNG: masks that go with a picture."""

from pathlib import Path

import cv2
import numpy as np

from tethercap.errors import ConversionError
from tethercap.image_files._whole import write_whole
from tethercap.pictures import U8Array


def write_mask(path: Path, mask: U8Array) -> None:
    """Write a mask as a grey PNG through a temporary file, white where it is set. The same mask gives the same bytes.

    Parameters
    ----------
    path : Path
        Target; a file of that name is replaced.
    mask : ndarray
        Shape (height, width), 0 = not set.

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    is_packed, packed = cv2.imencode(".png", np.where(mask > 0, np.uint8(255), np.uint8(0)))
    if not is_packed:
        raise ConversionError("A mask could not be packed as PNG.")
    write_whole(path, lambda temporary: _write(temporary, packed.tobytes()))


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
