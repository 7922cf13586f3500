"""Start a network from the weights of an exported one. Needs PyTorch and onnx (the extra 'train').

Exporting folds each batch normalisation into the convolution before it. Going back, the folded convolution is taken as it is
and its normalisation set to change nothing: mean and spread as they are on real strips, scale and shift that undo them.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn


def warm(net: nn.Module, path: Path, strips: Tensor) -> None:
    """Fill `net` from the ONNX file; `strips` (B, 3, 192, W) are toned strips for the normalisations' statistics.

    Raises ValueError when the file's convolutions are not this network's.
    """
    convolutions = [m for m in net.modules() if isinstance(m, nn.Conv1d | nn.Conv2d)]
    folded = _folded(path)
    shapes = [tuple(m.weight.shape) for m in convolutions]
    if shapes != [tuple(weight.shape) for weight, _ in folded]:
        raise ValueError(f"{path} holds {len(folded)} convolutions of other shapes than the network's {len(shapes)}")
    normalisations = _followers(net)
    for convolution, (weight, bias) in zip(convolutions, folded, strict=True):
        convolution.weight.data.copy_(weight)
        following = normalisations.get(convolution)
        if following is None and convolution.bias is not None:
            convolution.bias.data.copy_(bias)
        elif following is not None:
            _changes_nothing(following, bias, torch.zeros_like(bias), torch.ones_like(bias))
    _settle(net, normalisations, strips)


def _folded(path: Path) -> list[tuple[Tensor, Tensor]]:
    """Weight and bias of every convolution, in the order in which they run."""
    graph = onnx.load(str(path)).graph
    values = {one.name: torch.tensor(numpy_helper.to_array(one)) for one in graph.initializer}
    return [tuple(values[name] for name in node.input[1:3]) for node in graph.node if node.op_type == "Conv"]  # type: ignore[misc]


def _followers(net: nn.Module) -> dict[nn.Module, nn.BatchNorm2d]:
    """The normalisation that stands behind each convolution which has one."""
    chains = [list(block) for block in net.modules() if isinstance(block, nn.Sequential)]
    pairs = [(one, after) for chain in chains for one, after in pairwise(chain)]
    return {one: after for one, after in pairs if isinstance(after, nn.BatchNorm2d)}


def _changes_nothing(norm: nn.BatchNorm2d, shift: Tensor, mean: Tensor, spread2: Tensor) -> None:
    """Only `shift` is added, whatever mean and variance are kept."""
    norm.running_mean.copy_(mean)  # type: ignore[union-attr]
    norm.running_var.copy_(spread2)  # type: ignore[union-attr]
    norm.weight.data.copy_(torch.sqrt(spread2 + norm.eps))
    norm.bias.data.copy_(shift + mean)


@torch.no_grad()
def _settle(net: nn.Module, followers: dict[nn.Module, nn.BatchNorm2d], strips: Tensor) -> None:
    """Measure what every normalisation is given and set it to change nothing at that mean and variance."""
    seen: dict[nn.BatchNorm2d, tuple[Tensor, Tensor]] = {}

    def note(norm: nn.Module, given: Any) -> None:
        seen[norm] = given[0].mean((0, 2, 3)), given[0].var((0, 2, 3)) + 1e-4  # type: ignore[index]

    shifts = {norm: norm.bias.data.clone() for norm in followers.values()}
    hooks = [norm.register_forward_pre_hook(note) for norm in followers.values()]
    net.eval()(strips)
    for hook in hooks:
        hook.remove()
    for norm, (mean, spread2) in seen.items():
        _changes_nothing(norm, shifts[norm], mean, spread2)
    net.train()
