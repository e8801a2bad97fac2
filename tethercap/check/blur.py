"""Blur by motion, told from the picture alone: smear along one axis and not along the other."""

import cv2
import numpy as np

from tethercap.pictures import F32Array


def directional_loss(linear: F32Array) -> tuple[float, float]:
    """Compare fine detail along x with fine detail along y.

    Film grain and most subjects have as much fine detail one way as the other; a smear of d pixels along x takes
    away what is finer than d along x only (its transfer function is sinc(d f)).

    Parameters
    ----------
    linear : ndarray
        One channel, shape (height, width), float32, linear.

    Returns
    -------
    loss_x, loss_y : float
        Share of fine detail missing along x and along y against the other axis, 0..1; 0 where the axes are alike.
    """
    root = np.sqrt(np.maximum(linear, 0))  # evens out shot noise over the tones
    energy_x = _fine_energy(root, 2, 0)
    energy_y = _fine_energy(root, 0, 2)
    if min(energy_x, energy_y) <= 0:
        return 0.0, 0.0
    ratio = energy_x / energy_y
    return (max(0.0, 1 - ratio), max(0.0, 1 - 1 / ratio))


def _fine_energy(root: F32Array, order_x: int, order_y: int) -> float:
    """Median of squared curvature over tiles; the median passes over edges, dust and hair."""
    curvature = np.asarray(cv2.Sobel(root, cv2.CV_32F, order_x, order_y, ksize=3), np.float32)
    tile = 32
    rows, columns = root.shape[0] // tile, root.shape[1] // tile
    if rows == 0 or columns == 0:
        return 0.0
    squared = np.square(curvature[: rows * tile, : columns * tile])
    tiles = squared.reshape(rows, tile, columns, tile).mean(axis=(1, 3))
    return float(np.median(tiles))
