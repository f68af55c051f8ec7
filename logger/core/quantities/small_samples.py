"""Factors for few values: tolerance limits and Grubbs' test for one that doesn't belong.

Sources: NIST/SEMATECH e-Handbook 7.2.6.3 (tolerance) and 1.3.5.17.1 (Grubbs); figures in the tests.
"""

from collections.abc import Callable
from math import sqrt

import numpy as np
from scipy.special import chdtr, chdtri, nctdtrit, ndtr, ndtri, stdtrit

from logger.core.trace import FloatArray


def tolerance_one_sided(count: int, coverage: float, confidence: float) -> float:
    """k for ``mean + k s`` to exceed a share ``coverage`` of all values, with ``confidence`` (non-central t)."""
    root = sqrt(count)
    return float(nctdtrit(count - 1, float(ndtri(coverage)) * root, confidence)) / root


def tolerance_one_sided_approximate(count: int, coverage: float, confidence: float) -> float:
    """Closed approximation of ``tolerance_one_sided``: `(z + sqrt(z^2 - a b)) / a` (e-Handbook 7.2.6.3).

    `a = 1 - zc^2 / (2 (n - 1))`, `b = z^2 - zc^2 / n`; z and zc: normal quantiles of coverage and confidence. Of use
    where a table or a sheet was made with it; needs `a > 0`.
    """
    z, z_confidence = float(ndtri(coverage)), float(ndtri(confidence))
    a = 1.0 - z_confidence**2 / (2.0 * (count - 1))
    b = z**2 - z_confidence**2 / count
    return (z + sqrt(z**2 - a * b)) / a


def tolerance_two_sided(count: int, coverage: float, confidence: float) -> float:
    """Exact k for ``mean +- k s`` to hold a share ``coverage`` of all values, with ``confidence``.

    Averaged over where the mean may lie (Gauss-Legendre over +-8 of its own sigma), solved for k.
    """
    z, weights = np.polynomial.legendre.leggauss(200)
    offset = z * 8.0
    weights = weights * 8.0 * np.exp(-0.5 * offset**2) / sqrt(2.0 * np.pi)
    half = np.array([_half_width(abs(one) / sqrt(count), coverage) for one in offset])

    def short_of(k: float) -> float:
        reached = 1.0 - chdtr(count - 1, (count - 1) * (half / k) ** 2)
        return float(np.sum(weights * reached)) - confidence

    return _root(short_of, 0.1, 200.0)


def _half_width(offset: float, coverage: float) -> float:
    """Half-width about ``offset`` [sigma] that holds ``coverage`` of a standard normal."""
    return _root(lambda half: float(ndtr(offset + half) - ndtr(offset - half)) - coverage, 0.0, offset + 10.0)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses nought, by halving."""
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (low, middle) if rising(middle) > 0 else (middle, high)
    return (low + high) / 2.0


def tolerance_two_sided_howe(count: int, coverage: float, confidence: float) -> float:
    """Howe's closed approximation of ``tolerance_two_sided``, within 0.02 from n = 5 at 95/95."""
    chi2 = float(chdtri(count - 1, confidence))
    return float(ndtri((1.0 + coverage) / 2.0)) * sqrt((count - 1) * (1.0 + 1.0 / count) / chi2)


def grubbs_statistic(values: FloatArray) -> tuple[float, int]:
    """Greatest distance from the mean over s, and the index of that value; shape (n,), n >= 3."""
    distance = np.abs(values - np.mean(values))
    furthest = int(np.argmax(distance))
    spread = float(np.std(values, ddof=1))
    return (float(distance[furthest]) / spread if spread > 0 else 0.0), furthest


def grubbs_critical(count: int, chance: float = 0.05, two_sided: bool = True) -> float:
    """What Grubbs' statistic exceeds with a chance of ``chance`` when every value belongs; n >= 3."""
    tail = chance / (2 * count if two_sided else count)
    t2 = float(stdtrit(count - 2, tail)) ** 2
    return (count - 1) / sqrt(count) * sqrt(t2 / (count - 2 + t2))
