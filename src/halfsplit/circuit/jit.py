"""How every compiled function of the solver is compiled: cached on disk, no interpreter lock held,
and no test for division by zero, which the solver guards where it can happen.
"""

from __future__ import annotations

import numba as nb

jit = nb.njit(cache=True, nogil=True, error_model="numpy")
jit_inline = nb.njit(cache=True, nogil=True, error_model="numpy", inline="always")
