"""Colours taken together against NumPy's plain arithmetic."""

import numpy as np

from vision.channels import farthest, span

PICTURE = np.random.default_rng(2).random((40, 30, 3)).astype(np.float32)


def test_a_span_is_the_greatest_channel_less_the_least():
    np.testing.assert_array_equal(span(PICTURE), PICTURE.max(axis=2) - PICTURE.min(axis=2))


def test_the_farthest_channel_from_a_colour_with_and_without_its_grey():
    before, colour = PICTURE.copy(), np.array([0.2, 0.5, 0.9], np.float32)
    grey = PICTURE.mean(axis=2)

    np.testing.assert_array_equal(farthest(PICTURE, colour), np.abs(PICTURE - colour).max(axis=2))
    np.testing.assert_array_equal(farthest(PICTURE, colour, grey), np.abs(PICTURE - grey[..., None] - colour).max(axis=2))
    np.testing.assert_array_equal(before, PICTURE)
