"""Peaks against SciPy's own (``scipy.signal.find_peaks``)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks as reference

from vision.peaks import find_peaks


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("distance", "prominence"), [(1, 0.0), (7, 0.0), (1, 0.5), (12, 0.3)])
def test_peaks_are_those_of_the_reference(seed: int, distance: int, prominence: float) -> None:
    rng = np.random.default_rng(seed)
    values = np.sin(np.arange(400) / rng.uniform(3.0, 20.0)) + rng.normal(0.0, 0.2, 400)
    expected, _ = reference(values, distance=distance, prominence=prominence)
    assert find_peaks(values, distance=distance, prominence=prominence).tolist() == expected.tolist()


@pytest.mark.parametrize("seed", range(6))
def test_flat_tops_count_once_at_their_middle(seed: int) -> None:
    values = np.random.default_rng(seed).integers(0, 4, 200).astype(float)
    expected, _ = reference(values, distance=1, prominence=1.0)
    assert find_peaks(values, distance=1, prominence=1.0).tolist() == expected.tolist()


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 1.0, 1.0], [1.0, 2.0, 3.0], [3.0, 1.0, 2.0]])
def test_a_curve_without_a_top_has_no_peak(values: list[float]) -> None:
    assert find_peaks(np.array(values), distance=1, prominence=0.0).tolist() == []
