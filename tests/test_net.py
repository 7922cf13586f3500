"""Memory that is kept between looks at short strips changes nothing of what is seen, and is given back."""

import numpy as np
import pytest

from vision import net


@pytest.fixture
def strip():
    return np.random.default_rng(4).random((3, 192, 96), dtype=np.float32)


def test_kept_memory_changes_nothing_of_what_is_seen(strip):
    for once, kept in zip(net.see_strip(strip), net.see_strip(strip, keep=True), strict=True):
        np.testing.assert_array_equal(once, kept)


def test_long_strips_keep_nothing_and_what_short_ones_keep_is_given_back(strip, monkeypatch):
    runs, keeping = [], set()
    monkeypatch.setattr(net, "_KEEPING", keeping)

    class Asked:
        def __init__(self, _name, *, keeps=False):
            self.keeps = keeps

        def run(self, _outputs, fed, *options):
            runs.append((self.keeps, fed["strip"].shape[3], bool(options)))
            return [np.zeros((1, 2, 192, 1)), np.zeros((1, 5, 1)), np.zeros((1, 2, 1)), np.zeros((1, 14))]

    monkeypatch.setattr(net, "session", Asked)
    long = np.zeros((3, 192, net.KEPT_COLUMNS + 1), dtype=np.float32)
    for one in (long, strip):
        net.see_strip(one, keep=True)
    for _ in range(2):  # the second time there is nothing left to give
        net.give_back()

    assert [keeps for keeps, _, _ in runs] == [False, True, True]
    assert runs[-1] == (True, 32, True)
