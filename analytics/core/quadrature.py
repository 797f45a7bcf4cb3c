"""Few places that stand for many: quadrature for expectations."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from analytics.core.conventions import FloatArray


def gauss_rule(
    places: FloatArray, weights: FloatArray, n_nodes: int
) -> tuple[FloatArray, FloatArray]:
    """Return the Gauss quadrature of a weighted set of places.

    Parameters
    ----------
    places, weights
        Shape (t,); the weights are not negative and not all 0.
    n_nodes
        At most; a set of fewer different places gets fewer.

    Returns
    -------
    tuple of ndarray
        Nodes in rising order, and weights that sum to 1.

    Notes
    -----
    Lanczos steps with full orthogonalisation give the tridiagonal matrix whose eigenvalues are the
    nodes (Golub & Welsch 1969, Math Comp 23:221-230, from memory).

    Examples
    --------
    >>> places, weights = gauss_rule(np.arange(7.0), np.ones(7), 2)
    >>> places.round(6).tolist(), weights.round(6).tolist()
    ([1.0, 5.0], [0.5, 0.5])
    """
    share = weights / weights.sum()
    centre = float(share @ places)
    reach = float(np.max(np.abs(places - centre)))
    basis = [np.sqrt(share)]
    diagonal: list[float] = []
    beside: list[float] = []
    for _ in range(n_nodes):
        turned = (places - centre) * basis[-1]
        diagonal.append(float(basis[-1] @ turned))
        for earlier in basis + basis:  # twice: once leaves what rounding made of it
            turned = turned - (earlier @ turned) * earlier
        length = float(np.linalg.norm(turned))
        if length <= 1e-12 * reach or len(diagonal) == n_nodes:
            break
        beside.append(length)
        basis.append(turned / length)
    matrix = np.diag(diagonal) + np.diag(beside, 1) + np.diag(beside, -1)
    nodes_at, vectors = np.linalg.eigh(matrix)
    return centre + nodes_at, vectors[0] ** 2


@lru_cache(maxsize=32)
def hermite(count: int) -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights for the expectation over a standard normal variable.

    Examples
    --------
    >>> places, weights = hermite(2)
    >>> places.round(6).tolist(), weights.round(6).tolist()
    ([-1.0, 1.0], [0.5, 0.5])
    """
    places, weights = np.polynomial.hermite_e.hermegauss(count)
    weights = weights / weights.sum()
    for array in (places, weights):
        array.flags.writeable = False  # everybody who asks gets the same
    return places, weights


@lru_cache(maxsize=32)
def legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights for the mean of a function from 0 to 1.

    Examples
    --------
    >>> places, weights = legendre(2)
    >>> places.round(6).tolist(), weights.round(6).tolist()
    ([0.211325, 0.788675], [0.5, 0.5])
    """
    places, weights = np.polynomial.legendre.leggauss(count)
    places, weights = (places + 1) / 2, weights / 2
    for array in (places, weights):
        array.flags.writeable = False  # everybody who asks gets the same
    return places, weights
