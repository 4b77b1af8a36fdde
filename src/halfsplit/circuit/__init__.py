"""Circuit solving: elements, one compiled topology, many rows.

Belongs here: element equations, the sparse solver, operating point, line-frequency cycle,
sensitivities, and a status for every row. Does not belong here: files, part kinds, faults, users.
A fault, a tolerance sample or a bench condition is only a list of changed element values.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def _writable_cache() -> None:
    """Point the compiler's cache at a directory we may write.

    Without any writable place numba refuses at import, which on a read-only install would stop
    the whole program before it could say why.
    """
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    for root in (platformdirs.user_cache_dir("halfsplit"), "/tmp/halfsplit-cache"):
        path = Path(root) / "compiled"
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(path, os.W_OK):
            os.environ["NUMBA_CACHE_DIR"] = str(path)
            return


_writable_cache()
