"""How every compiled function of the solver is compiled: cached on disk, no interpreter lock held,
no test for division by zero, which the solver guards where it can happen, and no counting of
references: compiled code makes no arrays, all its room is handed in. Counting took the compiler a
quarter of its time.
"""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np

_compile: Any = nb.njit  # the stubs do not know all of these words
_ALL: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy", "_nrt": False}
jit = _compile(**_ALL, no_cfunc_wrapper=True)
# For what only compiled code calls: the way in from Python costs as much to compile as a function.
jit_inner = _compile(**_ALL, no_cpython_wrapper=True, no_cfunc_wrapper=True)

# A bare True, False or whole number passed to a compiled function is a type of its own there, and
# the function is compiled once more for each. These are not.
YES, NO = np.bool_(True), np.bool_(False)
