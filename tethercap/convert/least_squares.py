"""Fit a handful of parameters: Levenberg's and Marquardt's damped least squares."""

from collections.abc import Callable

import numpy as np

from tethercap.pictures import F64Array

Residuals = Callable[[F64Array], F64Array]


def fit(residuals: Residuals, start: F64Array, *, rounds: int = 60, step: float = 1e-5) -> F64Array:
    """Find the parameters with the smallest sum of squared residuals near a start.

    Parameters
    ----------
    residuals : callable
        Parameters, shape (n,), to residuals, shape (m,); priors are residuals as well.
    start : ndarray
        Shape (n,).
    rounds : int
        At most so many.
    step : float
        For the numerical derivatives.

    Returns
    -------
    ndarray
        Shape (n,).

    Notes
    -----
    Marquardt (1963), "An algorithm for least-squares estimation of nonlinear parameters", SIAM J. Appl. Math. 11.
    """
    best = np.asarray(start, dtype=np.float64).copy()
    rest = residuals(best)
    cost, damping = float(rest @ rest), 1e-3
    for _ in range(rounds):
        jacobian = np.stack([(residuals(best + nudge) - rest) / step for nudge in step * np.eye(len(best))], axis=1)
        normal, gradient = jacobian.T @ jacobian, jacobian.T @ rest
        moved = best - np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), gradient)
        there = residuals(moved)
        new_cost = float(there @ there)
        if not new_cost < cost:
            damping *= 8.0
            if damping > 1e8:
                break
            continue
        settled = cost - new_cost < 1e-10 * cost
        best, rest, cost, damping = moved, there, new_cost, max(damping / 5.0, 1e-9)
        if settled:
            break
    return best
