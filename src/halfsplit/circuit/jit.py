"""How every compiled function of the solver is compiled: cached on disk, no interpreter lock held,
and no test for division by zero, which the solver guards where it can happen.
"""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np

jit = nb.njit(cache=True, nogil=True, error_model="numpy")
# For what only compiled code calls: the way in from Python costs as much to compile as a function.
jit_inner: Any = nb.njit(  # type: ignore[call-overload]
    cache=True, nogil=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True
)
jit_inline = nb.njit(cache=True, nogil=True, error_model="numpy", inline="always")

# A bare True, False or whole number passed to a compiled function is a type of its own there, and
# the function is compiled once more for each. These are not.
YES, NO = np.bool_(True), np.bool_(False)
