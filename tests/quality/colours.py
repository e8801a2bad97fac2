"""Reference colours and colour differences, by the colour-science package."""

from __future__ import annotations

import warnings

import numpy as np

from tests.quality import spectra
from tests.quality.spectra import F64

_D65 = np.array([0.95047, 1.0, 1.08883])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_SRGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def srgb_decode(encoded: F64) -> F64:
    """Encoded sRGB 0..1 to linear (IEC 61966-2-1)."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def lab_of_linear(linear_srgb: F64) -> F64:
    """CIE Lab of linear sRGB, D65 white."""
    xyz = (linear_srgb @ _SRGB_TO_XYZ.T) / _D65
    root = np.where(xyz > (6 / 29) ** 3, np.cbrt(np.maximum(xyz, 0)), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack(
        [116 * root[..., 1] - 16, 500 * (root[..., 0] - root[..., 1]), 200 * (root[..., 1] - root[..., 2])], axis=-1
    )


def delta_e(linear_a: F64, linear_b: F64) -> F64:
    """CIEDE2000 between two arrays of linear sRGB."""
    return delta_e_lab(lab_of_linear(linear_a), lab_of_linear(linear_b))


def delta_e_lab(lab_a: F64, lab_b: F64) -> F64:
    """CIEDE2000 between two arrays of CIE Lab."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from colour.difference import delta_E_CIE2000

        return np.asarray(delta_E_CIE2000(lab_a, lab_b))


def chart_linear_srgb(light: str = "D65") -> F64:
    """Linear sRGB of the ColorChecker's patches under a light, shape (24, 3); adapted to D65 as ICC.1 does it."""
    weights = spectra.cmfs() * spectra.illuminant(light)[:, None]
    xyz = (spectra.chart_reflectances() @ weights) / weights[:, 1].sum()
    white = weights.sum(axis=0) / weights[:, 1].sum()
    adapted = (_BRADFORD @ _D65) / (_BRADFORD @ white)
    to_d65 = np.linalg.inv(_BRADFORD) @ (adapted[:, None] * _BRADFORD)
    return np.asarray(xyz @ to_d65.T @ np.linalg.inv(_SRGB_TO_XYZ).T)


def further_colours(seed: int, *, strong: int, muted: int, brightest: float) -> F64:
    """Colours besides a chart's, strong ones before muted ones, linear sRGB of shape (strong + muted, 3)."""
    rng = np.random.default_rng(seed)
    full = rng.random((strong, 3)) ** 1.6
    near_grey = rng.random((muted, 1)) ** 2 * np.clip(1 + 0.25 * rng.standard_normal((muted, 3)), 0.3, 1.7)
    return np.asarray(np.concatenate([full, near_grey]).clip(0.004, brightest))


def xyz_of_linear(linear_srgb: F64) -> F64:
    """XYZ (D65) of linear sRGB."""
    return np.asarray(linear_srgb @ _SRGB_TO_XYZ.T)
