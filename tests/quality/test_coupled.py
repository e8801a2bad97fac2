"""The second family of drawn film behaves as film with coloured couplers does."""

from dataclasses import replace

import numpy as np

from tests.quality import film
from tests.quality.coupled import CoupledLayers, draw_coupled_case
from tests.quality.fit_usual import figures_of

_LAYERS = CoupledLayers(
    gamma=np.full(3, 0.6),
    speed=np.full(3, -1.7),
    toe=np.full(3, 0.2),
    slow_toe=np.full(3, 0.25),
    densest=np.full(3, 2.5),
    restraint=0.1 * (1.0 - np.eye(3)),
    by_light=0.5,
)
_FREE = replace(_LAYERS, restraint=np.zeros((3, 3)))


def test_restraint_leaves_greys_and_sets_colours_further_apart() -> None:
    """As development inhibitors do (common practice, no source)."""
    grey, red = np.full(3, -0.7), np.array([-0.4, -0.9, -0.9])
    assert np.allclose(_LAYERS.amounts(grey), _FREE.amounts(grey))
    assert np.ptp(_LAYERS.amounts(red)) > 1.1 * np.ptp(_FREE.amounts(red))


def test_drawn_film_is_an_orange_negative() -> None:
    """Base denser in blue than in green than in red; more light, more density in every channel."""
    for seed in range(1, 21):
        case = draw_coupled_case(seed)
        base = film.base_transmittance(case.stock, case.rig)
        steps = np.array([0.02, 0.1, 0.4, 0.9])[:, None] * np.ones(3)
        seen = film.transmittances(case.stock, case.rig, film.densities(case.stock, steps))
        assert base[0] > base[1] > base[2]
        assert np.all(np.diff(seen, axis=0) < 0.0)
        assert np.all(np.isfinite(figures_of(case, base)))


def test_same_seed_draws_the_same() -> None:
    """Fits and checks can be made again."""
    first, again = draw_coupled_case(5), draw_coupled_case(5)
    assert np.array_equal(first.rig.response, again.rig.response)
    assert np.array_equal(
        film.base_transmittance(first.stock, first.rig), film.base_transmittance(again.stock, again.rig)
    )
