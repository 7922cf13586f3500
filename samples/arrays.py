"""Which array library runs the geometry and the shading: NumPy on the CPU, or another one with the same calls.

Only calls that NumPy and PyTorch spell alike are used on arrays handed to a `Backend`; the few that differ live here.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Array = Any
"""An array of whichever library runs; NumPy arrays carry their own type below."""

Floats = npt.NDArray[Any]
"""A NumPy array of float32 or float64."""


@dataclass(frozen=True)
class Backend:
    """The calls on which array libraries differ."""

    xp: Any
    put: Callable[[Floats], Array]
    get: Callable[[Array], Floats]
    as_index: Callable[[Array], Array]

    def sample(self, table: Array, position: Array) -> Array:
        """Linear interpolation of `table` (N or N x C) at fractional row `position` (any 1-D shape), clamped."""
        xp = self.xp
        last = table.shape[0] - 1
        position = xp.clip(position, 0.0, last - 1e-3)
        low = self.as_index(position)
        share = position - low
        if table.ndim == 2:
            share = share[:, None]
        return table[low] * (1.0 - share) + table[low + 1] * share


def _numpy() -> Backend:
    return Backend(
        xp=np,
        put=lambda a: np.asarray(a, np.float32),
        get=np.asarray,
        as_index=lambda a: a.astype(np.int32),
    )


CPU = _numpy()
"""NumPy, float32."""
