"""The mean of two networks."""

from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import pytest
from onnx import TensorProto, helper, numpy_helper

from models.train.mean import mean_of

MODELS = Path(__file__).parent.parent / "models"


def line(slope: float, width: int = 1) -> onnx.ModelProto:
    """y = slope x, as a network."""
    weight = numpy_helper.from_array(np.full((1, width), slope, np.float32), "slope")
    x, y = (helper.make_tensor_value_info(name, TensorProto.FLOAT, [1, of]) for name, of in (("x", 1), ("y", width)))
    graph = helper.make_graph([helper.make_node("MatMul", ["x", "slope"], ["y"])], "line", [x], [y], [weight])
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 18)], ir_version=9)


def test_the_mean_of_two_lines_has_their_mean_slope():
    mean = onnxruntime.InferenceSession(mean_of(line(2.0), line(5.0)).SerializeToString())

    assert mean.run(None, {"x": np.array([[4.0]], np.float32)})[0][0, 0] == pytest.approx(14.0)


def test_a_network_is_its_own_mean():
    path = MODELS / "damage.onnx"
    mean, own = mean_of(onnx.load(path), onnx.load(path)), onnx.load(path)

    for a, b in zip(mean.graph.initializer, own.graph.initializer, strict=True):
        assert np.array_equal(numpy_helper.to_array(a), numpy_helper.to_array(b))


def test_networks_of_two_designs_have_none():
    with pytest.raises(ValueError, match="only one has slope"):
        mean_of(line(1.0), line(1.0, width=2))
