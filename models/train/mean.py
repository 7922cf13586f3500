"""The mean of two networks, one trained on from the other: ``python -m models.train.mean FIRST.onnx SECOND.onnx OUT.onnx``.

Weights of networks that were trained on from the same ones may be averaged; the mean keeps most of what each knows (Wortsman and others,
'Model soups', ICML 2022; from memory). Here: a step on damaged instruments alone forgets what lies behind a working part.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import onnx
from onnx import numpy_helper


def mean_of(first: onnx.ModelProto, second: onnx.ModelProto) -> onnx.ModelProto:
    """``first`` with every weight the mean of its own and ``second``'s. Raises ValueError where they are not of one shape."""
    other = {one.name: numpy_helper.to_array(one) for one in second.graph.initializer}
    for one in first.graph.initializer:
        own = numpy_helper.to_array(one)
        if one.name not in other or other[one.name].shape != own.shape:
            raise ValueError(f"needs two networks of one design: only one has {one.name} {own.shape}")
        if own.dtype.kind == "f":
            one.CopyFrom(numpy_helper.from_array(np.asarray(0.5 * (own + other[one.name]), own.dtype), one.name))
    return first


if __name__ == "__main__":
    one, two, out = (Path(name) for name in sys.argv[1:4])
    onnx.save(mean_of(onnx.load(one), onnx.load(two)), out)
