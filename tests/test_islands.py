"""What holds together, and holes: as SciPy and scikit-image label them."""

import cv2
import numpy as np
import pytest
from scipy import ndimage
from skimage.measure import label, regionprops

from vision.islands import holes, islands

SHARES = (0.05, 0.4, 0.6, 0.9)


def masks():
    rng = np.random.default_rng(3)
    for share in SHARES:
        for grown in (1, 3):
            shape = rng.integers(2, 70, 2)
            rough = (rng.random(shape) < share).astype(np.uint8)
            yield cv2.dilate(rough, np.ones((grown, grown), np.uint8)).astype(bool)


@pytest.mark.parametrize("connectivity", [4, 8])
def test_islands_are_the_regions_that_labels_tell_in_their_order(connectivity):
    for mask in masks():
        wanted = regionprops(label(mask, connectivity=connectivity // 4))
        found = islands(mask, connectivity)
        assert [one.place for one in found] == [region.slice for region in wanted]
        assert all((one.mask == region.image).all() for one, region in zip(found, wanted, strict=True))


def test_holes_are_what_a_mask_leaves_out_in_small_pieces_at_its_border_too():
    for mask in masks():
        marks, _ = ndimage.label(~mask)
        most = max(mask.shape) / 2.0
        small = [k for k, place in enumerate(ndimage.find_objects(marks), 1) if max(part.stop - part.start for part in place) < most]
        found = np.zeros(mask.shape, dtype=int)
        for hole in holes(mask, most):
            found[hole.place] += hole.mask
        assert (found == np.isin(marks, small)).all()


def test_an_empty_mask_holds_nothing():
    assert islands(np.zeros((5, 7), dtype=bool), 8) == []
    assert [hole.mask.sum() for hole in holes(np.zeros((5, 7), dtype=bool), 9)] == [35]
