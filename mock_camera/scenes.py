"""placeholder until the scenes are drawn."""
from __future__ import annotations
import numpy as np
from mock_camera.film_stock import FloatPicture
SCENES = ("grey",)
def draw(name: str, seed: int, width_px: int, height_px: int) -> FloatPicture:
    """Grey scene."""
    r=np.random.default_rng(seed)
    import cv2
    g=r.random((12,18,3)).astype(np.float32)*.6
    return np.asarray(cv2.resize(g,(width_px,height_px),interpolation=cv2.INTER_NEAREST),np.float32)
