"""How the fast loops are compiled: one thread each, kept on disk where the machine lets us.

Kept code is known by the file of its loop alone: by the file's size and the time it was written. A loop that takes in another loop, or a
number, from a second file would go on with what that was before an update, and may crash. So a compiled loop takes in only what stands in
its own file, numpy and math; numbers from elsewhere are handed to it. A test goes through all files and holds that.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def jit(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compiled, single-threaded, kept beside the module, or in the folder `NUMBA_CACHE_DIR` names, where the machine lets us."""
    try:
        out: Callable[..., Any] = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # no place to keep it
        out = numba.njit(nogil=True, error_model="numpy")(function)
    return out
