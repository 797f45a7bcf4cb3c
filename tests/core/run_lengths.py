"""Average run lengths of control charts, by the integral equations that define them.

With a density of the next value given the present one, the average number of points until the
limit is passed solves ``L(u) = 1 + integral of L(y) f(y | u) dy`` (Crowder 1987, Technometrics
29:401-407, from memory). Gauss-Legendre nodes turn it into linear equations.
"""

import numpy as np
from scipy import stats


def ewma_run_length(*, weight: float, width: float, shift: float = 0.0) -> float:
    """Return the points until a two-sided EWMA with fixed limits signals, from a start of 0."""
    limit = width * np.sqrt(weight / (2 - weight))
    nodes, node_weights = np.polynomial.legendre.leggauss(80)
    at, node_weights = limit * nodes, limit * node_weights

    def density(start: np.ndarray) -> np.ndarray:
        z = (at - (1 - weight) * start[:, None]) / weight - shift
        return np.asarray(stats.norm.pdf(z) / weight)

    lengths = np.linalg.solve(np.eye(at.size) - density(at) * node_weights, np.ones(at.size))
    return float(1 + density(np.zeros(1))[0] @ (node_weights * lengths))


def cusum_run_length(*, allowance: float, limit: float, shift: float) -> float:
    """Return the points until a one-sided cumulative sum signals, from a start of 0."""
    nodes, node_weights = np.polynomial.legendre.leggauss(80)
    at, node_weights = limit * (nodes + 1) / 2, limit * node_weights / 2
    # The sum has an atom at 0, which is a state of its own.
    states = np.append(at, 0.0)
    kernel = np.empty((states.size, states.size))
    kernel[:, :-1] = stats.norm.pdf(at - states[:, None] + allowance - shift) * node_weights
    kernel[:, -1] = stats.norm.cdf(allowance - shift - states)
    return float(np.linalg.solve(np.eye(states.size) - kernel, np.ones(states.size))[-1])


def spread_run_length(*, kept: float, df: int, limit: float) -> float:
    """Return the points until the weighted mean square of `df` residuals each passes its limit.

    By a Markov chain of 800 states: the density has a corner that quadrature does not like.
    """
    n_states = 800
    edges = np.linspace(0.0, limit, n_states + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    square = df * (edges[None, :] - kept * middle[:, None]) / (1 - kept)
    kernel = np.diff(stats.chi2.cdf(square, df), axis=1)
    lengths = np.linalg.solve(np.eye(n_states) - kernel, np.ones(n_states))
    return float(np.interp(1.0, middle, lengths))
