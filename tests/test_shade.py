"""A handle's front is not taken from a deep shadow: paper of known light beside a strip across it."""

from pathlib import Path

import numpy as np
import pytest

from vision.edge_lines import Edges
from vision.exif import CameraInfo
from vision.findscale import find_scale
from vision.photo import Photo
from vision.plane import look_down
from vision.scale import GivenScale
from vision.shade import in_deep_shade
from vision.strip import straighten

PX_PER_MM, FRONT = 20.0, 300.0


def seen(light_left: float, dark_sheet: bool = False, rows: slice = slice(40, None)) -> bool:
    """Paper that is bright up to column 150 of 600 and keeps a share of its light from there on in some rows; the strip
    runs along the middle one.
    """
    light = np.full((200, 600), 0.8)
    light[rows, 150:] *= light_left
    code = 255.0 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    rgb = np.repeat(np.rint(code).astype(np.uint8)[:, :, None], 3, axis=2)
    photo = Photo(Path("p.jpg"), rgb, CameraInfo())
    scale = find_scale(photo, given=GivenScale(PX_PER_MM, 0.1), prints=None)
    plane = look_down(photo, scale)
    axis = np.column_stack([np.arange(20.0, 580.0), np.full(560, 100.0)])
    strip, none = straighten(photo, axis, 20), np.full(560, np.nan)
    edges = Edges(strip, none, none, np.zeros((2, 560)), 1.0, 0.8)
    return in_deep_shade(photo, scale, plane, np.full(plane.inside.shape, dark_sheet), edges, FRONT)


@pytest.mark.parametrize(("left", "deep"), [(0.06, True), (0.15, True), (0.3, False), (0.7, False), (1.0, False)])
def test_a_fifth_of_the_light_is_the_limit(left: float, deep: bool) -> None:
    assert seen(left) is deep


def test_a_table_s_darkness_is_no_shadow() -> None:
    assert not seen(0.06, dark_sheet=True)


def test_where_no_sheet_is_read_what_is_dark_to_the_border_on_both_sides_is_a_table() -> None:
    """A shaft held over the paper's edge, with a stated scale: the table behind it hides no front."""
    assert not seen(0.06, rows=slice(None))
