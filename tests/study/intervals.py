"""95 % intervals of shares and percentiles, and scores of probabilities."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from scipy.stats import binom, norm

Z = float(norm.ppf(0.975))
LEAST = 0.001  # probability that a scored answer is taken to have at least: printed probabilities are rounded


def wilson(hits: int, count: int) -> tuple[float, float]:
    """Wilson's score interval of a share (no continuity correction); (0, 1) when nothing was counted."""
    if count == 0:
        return 0.0, 1.0
    share, z2 = hits / count, Z * Z
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = Z / (1 + z2 / count) * np.sqrt(share * (1 - share) / count + z2 / (4 * count * count))
    return max(float(middle - half), 0.0), min(float(middle + half), 1.0)


def percentile_interval(values: Sequence[float] | np.ndarray, q: float) -> tuple[float, float]:
    """Interval of the q-th percentile by order statistics; infinite or 0 on a side that so few values leave open.

    The ranks are those whose binomial coverage is at least 95 %: distribution-free. For errors' sizes, which are not below 0.
    """
    ordered = np.sort(np.asarray(values, dtype=float))
    count = len(ordered)
    low = int(binom.ppf(0.025, count, q / 100.0)) if count else 0
    high = int(binom.ppf(0.975, count, q / 100.0)) + 1 if count else 1
    return (
        float(ordered[low - 1]) if low >= 1 else 0.0,
        float(ordered[high - 1]) if high <= count else float("inf"),
    )


def bootstrap(values: np.ndarray, statistic: Callable[[np.ndarray], float], times: int = 400) -> tuple[float, float]:
    """Percentile bootstrap of any statistic of one sample (N,) or of paired rows (N, k)."""
    if len(values) < 2:
        return float("nan"), float("nan")
    rng = np.random.default_rng(1)
    drawn = [statistic(values[rng.integers(len(values), size=len(values))]) for _ in range(times)]
    return float(np.percentile(drawn, 2.5)), float(np.percentile(drawn, 97.5))


def robust_sd(values: np.ndarray) -> float:
    """1.4826 times the median absolute deviation from the median: the sd of a normal sample, deaf to outliers."""
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def brier(shares: Sequence[Mapping[str, float]], right: Sequence[str]) -> float:
    """Mean of the squared distance between the probabilities and the truth, over all classes (Brier 1950)."""
    pairs = zip(shares, right, strict=True)
    rows = [sum((p - (n == true)) ** 2 for n, p in share.items()) + (true not in share) for share, true in pairs]
    return float(np.mean(rows))


def log_loss(shares: Sequence[Mapping[str, float]], right: Sequence[str]) -> float:
    """Mean of -ln p(truth), p taken as at least LEAST."""
    return float(np.mean([-np.log(max(share.get(true, 0.0), LEAST)) for share, true in zip(shares, right, strict=True)]))
