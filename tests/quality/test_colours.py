"""The check's own ruler, and the bars that conversion must clear on a stock it was never fitted to.

The bars leave room: the tables of ``python -m tests.quality.score`` are what is worked on.
"""

from pathlib import Path

import numpy as np
import pytest

from tests.quality import colours, film, score, shots, spectra

# Sharma, Wu and Dalal (2005), "The CIEDE2000 color-difference formula", table 1: pairs 1, 7, 11 and 13.
SHARMA = [
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "other", "difference"), SHARMA)
def test_the_ruler_is_the_published_one(one: tuple[float, ...], other: tuple[float, ...], difference: float) -> None:
    assert colours.delta_e_lab(np.array(one), np.array(other)) == pytest.approx(difference, abs=1e-4)


def test_the_chart_of_the_check_is_the_published_one() -> None:
    # L* of the grey row under its own name: white 9.5 to black 2.
    lightness = colours.lab_of_linear(colours.chart_linear_srgb("D65"))[18:, 0]
    np.testing.assert_allclose(lightness, [96.5, 81.3, 66.6, 50.8, 35.9, 20.7], atol=1.2)


def test_greys_of_the_invented_film_lie_where_film_has_them() -> None:
    # A normally exposed grey card lies 0.3 to 0.9 over the base, and the base passes red before green before blue.
    stock, rig = spectra.STOCKS[0], film.Rig()
    base = film.base_transmittance(stock, rig)
    assert base[0] > base[1] > base[2]
    card = film.densities(stock, np.full((1, 3), 0.18))
    density = -np.log10(film.transmittances(stock, rig, card) / base)
    assert np.all((density > 0.3) & (density < 0.9))


BARS = {"nothing": (5.5, 12.0, 7.0), "found": (2.6, 5.5, 3.5), "cards": (4.3, 10.0, 3.5), "chart": (2.6, 5.5, 3.5)}
"""Mean and 95th percentile over all patches and exposures, worst grey; CIEDE2000."""


@pytest.mark.slow
def test_positives_are_near_the_scene(tmp_path: Path) -> None:
    stock = spectra.STOCKS[2]
    shot = score.shoot_roll(shots.Roll(stock, film.Rig("LED-B3", 0)), tmp_path, (-1.0, 0.0, 1.0, 3.0))
    for known, (mean, high, grey) in BARS.items():
        found = score.judge(stock, known, tmp_path, shot)
        assert found.patches.mean() < mean, known
        assert np.percentile(found.patches, 95) < high, known
        assert found.patches[:, 18:].mean(axis=0).max() < grey, known
        assert found.clipped < 0.002, known
        assert found.similarity.mean() > 0.92, known
