"""How loops that numpy can't vectorise are compiled: doors for Python, and what is inside."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
from numba.extending import register_jitable


def door(function: Callable[..., Any]) -> Any:
    """Compile a function that Python calls; it is kept on disk with all that it calls."""
    return numba.njit(cache=True, nogil=True, error_model="numpy")(function)


def inside(function: Callable[..., Any]) -> Any:
    """Let compiled code call a function; called from Python it runs as it is written.

    It is compiled without what would let Python call it, which for arguments of many arrays takes
    longer to compile than the function itself, and once whatever numbers it is called with.
    """
    return register_jitable(nogil=True, error_model="numpy", no_cfunc_wrapper=True)(function)
