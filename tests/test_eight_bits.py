"""A network of whole numbers must tell what the one it was made from tells."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import numpy as np
import onnx
import pytest

from models.train import eight_bits
from vision.metal import HALF, network_input
from vision.photo import load_photo
from vision.strip import straighten_rgb

PHOTOS = Path(__file__).parent.parent / "samples" / "photos"
SOURCE = Path(str(files("models") / "strip.onnx"))


def strip_of(name):
    """A sample's strip along its true axis."""
    photo = PHOTOS / f"{name}.jpg"
    axis = np.array(json.loads(photo.with_suffix(".json").read_text())["instruments"][0]["axis_px"])[:, 1:]
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))])
    at = np.arange(640.0)
    dense = np.column_stack([np.interp(at, length, axis[:, k]) for k in (0, 1)])
    return network_input(straighten_rgb(load_photo(photo), dense, HALF).values)[None]


def test_first_and_last_layer_and_heads_stay_in_floating_point():
    nodes = eight_bits.inner_nodes(SOURCE)
    assert "/net/down.0/steps/steps.0/Conv" not in nodes
    assert "/net/up.3/steps/steps.3/Conv" not in nodes
    assert "/net/down.1/steps/steps.0/Conv" in nodes
    assert not any(name.startswith(("/net/stem", "/net/kinds", "/net/named", "/net/edges")) for name in nodes)
    assert "/Concat" not in nodes  # which joins heights and their miss


@pytest.mark.filterwarnings("ignore")  # the library's own
def test_whole_numbers_tell_the_same_of_strips_that_set_no_range(tmp_path):
    out, strip = tmp_path / "whole.onnx", strip_of("hedstroem-file-30-free")
    eight_bits.write_eight_bits(SOURCE, out, [strip_of("k-file-25-flat"), strip_of("reamer-35-flat")])
    whole = [one for one in onnx.load(str(out)).graph.initializer if one.data_type == onnx.TensorProto.INT8 and len(one.dims) == 4]
    assert len(whole) == sum(name.endswith("/Conv") for name in eight_bits.inner_nodes(SOURCE))
    told = eight_bits.compare(SOURCE, out, [strip])
    assert told["strips"] == 1
    assert told["width_px"][0] < 0.17  # the network's own median miss of one edge (models/README.md)
    assert told["height_u"][0] < 0.3  # of what it says that heights are usually off by
