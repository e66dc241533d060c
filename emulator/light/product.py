"""Matrix products that stay on one thread.

A product on several threads waits for the slowest one. On a machine with other work, that can take
many times as long as the product itself. The command `foreglow` tells OpenBLAS, which numpy's
wheels contain, to use one thread. In other programs, a product is done in pieces so small that one
thread does each: OpenBLAS uses several from m·n·k = 4 · 2¹⁶ multiplications on (its
GEMM_MULTITHREAD_THRESHOLD; from memory, and measured). Some products take twice as long so.
"""

from __future__ import annotations

import os

import numpy as np
from numpy.typing import NDArray

_MOST = 4 << 16
_ALONE = os.environ.get("OPENBLAS_NUM_THREADS") == "1"  # when numpy was loaded, most likely

Matrix = NDArray[np.float32]


def product(left: Matrix, right: Matrix, out: Matrix) -> None:
    """out = left @ right for (…, m, k) and (…, k, n), some rows of `left` at a time if need be."""
    count = max(1, _MOST // (right.shape[-1] * right.shape[-2]))
    if _ALONE or left.shape[-2] <= count:
        np.matmul(left, right, out=out)
        return
    for start in range(0, left.shape[-2], count):
        part = slice(start, start + count)
        np.matmul(left[..., part, :], right, out=out[..., part, :])
