"""Which array library runs the geometry and the shading: NumPy on the CPU, or another one with the same calls.

Only calls that NumPy and PyTorch spell alike are used on arrays handed to a `Backend`; the few that differ live here.
"""

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
import numpy.typing as npt

Array = Any
"""An array of whichever library runs; NumPy arrays carry their own type below."""

Floats = npt.NDArray[Any]
"""A NumPy array of float32 or float64."""


@dataclass(frozen=True)
class Backend:
    """The calls on which array libraries differ.

    `put`, `exact`: a NumPy array where this backend computes, as float32 and as float64; `single` makes a float32 of an
    array there; `get` brings one back; `zeros` makes one. `sums(owner, values, count)` adds up the rows of values (N x C) by their owner
    (N, 0 to count - 1). `wide`: points worked on in one call; where starting a call costs more than its arithmetic,
    many at once are cheaper.
    """

    xp: Any
    put: Callable[[Floats], Array]
    get: Callable[[Array], Floats]
    as_index: Callable[[Array], Array]
    rows: Callable[[Array, Array], Array]
    exact: Callable[[Any], Array]
    single: Callable[[Array], Array]
    sums: Callable[[Array, Array, int], Array]
    zeros: Callable[[tuple[int, ...]], Array]
    wide: int

    def constant(self, values: Any) -> Array:
        """A small array of numbers where this backend computes."""
        return self.put(np.array(values, np.float32))

    def bilinear(self, table: Array, u: Array, v: Array) -> Array:
        """Look up an image (H x W x C or H x W) at columns u and rows v (N), clamped to its edge: N x C or N."""
        xp = self.xp
        u, v = xp.clip(u, 0.0, table.shape[1] - 1.001), xp.clip(v, 0.0, table.shape[0] - 1.001)
        col, row = self.as_index(u), self.as_index(v)
        fu, fv = u - col, v - row
        if table.ndim == 3:
            fu, fv = fu[:, None], fv[:, None]
        wide = table.shape[1]
        flat = table.reshape(-1, table.shape[2]) if table.ndim == 3 else table.reshape(-1)
        first = row * wide + col
        top = self.rows(flat, first) * (1 - fu) + self.rows(flat, first + 1) * fu
        bottom = self.rows(flat, first + wide) * (1 - fu) + self.rows(flat, first + wide + 1) * fu
        return top * (1 - fv) + bottom * fv

    def sample(self, table: Array, position: Array) -> Array:
        """Linear interpolation of `table` (N or N x C) at fractional row `position` (any 1-D shape), clamped."""
        xp = self.xp
        last = table.shape[0] - 1
        position = xp.clip(position, 0.0, last - 1e-3)
        low = self.as_index(position)
        share = position - low
        if table.ndim == 1:
            return self.rows(table, low) * (1.0 - share) + self.rows(table, low + 1) * share
        if xp is np:
            return _sample_columns(table, low, share)
        return self.rows(table, low) * (1.0 - share[:, None]) + self.rows(table, low + 1) * share[:, None]


def _sample_columns(table: Floats, low: Array, share: Floats) -> Floats:
    """The same column by column, which is a third of the work for NumPy: the result (N x C) has whole columns side by side."""
    out = np.empty((table.shape[1], len(low)), np.result_type(table, share))
    high, rest = low + 1, 1.0 - share
    for k, column in enumerate(np.ascontiguousarray(table.T, out.dtype)):
        np.multiply(column.take(low, mode="clip"), rest, out=out[k])
        out[k] += column.take(high, mode="clip") * share
    return out.T


def _sums(owner: Array, values: Array, count: int) -> Array:
    return np.stack([np.bincount(owner, column, count) for column in values.T], 1)


def _numpy() -> Backend:
    return Backend(
        xp=np,
        put=lambda a: np.asarray(a, np.float32),
        get=np.asarray,
        as_index=lambda a: a.astype(np.intp),
        # 'clip' is the fastest of take's modes; every index is inside already.
        rows=lambda table, index: table.take(index, axis=0, mode="clip"),
        exact=lambda a: np.asarray(a, np.float64),
        single=lambda a: np.asarray(a, np.float32),
        sums=_sums,
        zeros=lambda shape: np.zeros(shape, np.float32),
        wide=120_000,
    )


CPU = _numpy()
"""NumPy, float32."""


def torch_backend(device: str = "cuda") -> Backend:
    """PyTorch on a device; needs the package torch, which this project does not install by itself."""
    torch = import_module("torch")
    torch.backends.cudnn.allow_tf32 = False  # ten bits are too few for pictures

    def sums(owner: Array, values: Array, count: int) -> Array:
        out = torch.zeros((count, values.shape[1]), dtype=values.dtype, device=values.device)
        return out.index_add_(0, owner, values)

    def moved(a: Any, dtype: Any) -> Array:
        # Without waiting for the device: every wait is a turn given up when several processes share it.
        return torch.as_tensor(np.ascontiguousarray(a, dtype)).to(device, non_blocking=True)

    return Backend(
        xp=torch,
        put=lambda a: moved(a, np.float32),
        get=lambda a: np.asarray(a.cpu().numpy()),
        as_index=lambda a: a.long(),
        rows=lambda table, index: table.index_select(0, index),
        exact=lambda a: moved(a, np.float64),
        single=lambda a: a.float(),
        sums=sums,
        zeros=lambda shape: torch.zeros(shape, dtype=torch.float32, device=device),
        wide=4_000_000,
    )


def dot(a: Array, b: Array) -> Array:
    """Scalar products of vectors, N x 3 by N x 3 (or 3): N x 1."""
    return (a * b).sum(1)[:, None]
