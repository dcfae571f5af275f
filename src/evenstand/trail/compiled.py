"""How the fast loops are compiled: one thread each, kept on disk where the machine lets us."""

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
