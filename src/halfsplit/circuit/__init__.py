"""Circuit solving: elements, one compiled topology, many rows.

Belongs here: element equations, the sparse solver, operating point, line-frequency cycle,
sensitivities, and a status for every row. Does not belong here: files, part kinds, faults, users.
A fault, a tolerance sample or a bench condition is only a list of changed element values.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import platformdirs

# Files whose change can change compiled code: the kernels, and the constants and records they use.
COMPILED = (
    "apart",
    "compiled_*",
    "devices",
    "elements",
    "example",
    "jit",
    "kernel",
    "netlist",
    "room",
    "solution",
    "sparse",
    "stamps",
    "states",
    "topology",
    "valve_stamps",
)


def _digest(*patterns: str) -> str:
    digest = hashlib.sha256()
    folder = Path(__file__).parent
    for source in sorted(p for pattern in patterns for p in folder.glob(f"{pattern}.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


# Changes with any change of the solver; caches of its results carry it.
SOLVER_DIGEST = _digest("*")
# Changes only with what is compiled, so that other work on the solver costs nobody a first run.
KERNEL_DIGEST = _digest(*COMPILED)


def _writable_cache() -> None:
    """Point the compiler's cache at a directory we may write, one for each state of this folder.

    Without any writable place numba refuses at import, which on a read-only install would stop
    the whole program before it could say why. And numba notices a change only in the file of the
    function it cached, not in the files that function calls: code from before such a change would
    call what has other arguments now. Hence the digest of all of them, in a folder the user names
    (NUMBA_CACHE_DIR) too.
    """
    asked = os.environ.get("NUMBA_CACHE_DIR")
    if asked and Path(asked).name == KERNEL_DIGEST:
        return  # set by the process that started this one
    for root in (asked or platformdirs.user_cache_dir("halfsplit"), None):
        # A folder of our own, fresh and private, when the user's cache cannot be written.
        path = Path(root or tempfile.mkdtemp(prefix="halfsplit-")) / "compiled" / KERNEL_DIGEST
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(path, os.W_OK):
            os.environ["NUMBA_CACHE_DIR"] = str(path)
            # Numba reads the variable only at its own import, which may have come before ours.
            if "numba" in sys.modules:
                sys.modules["numba"].core.config.CACHE_DIR = str(path)
            return


_writable_cache()


_looked_for: set[str] = set()
_listeners: list[Callable[[], None]] = []


def compiled(piece: str = "") -> bool:
    """Whether the solver, or a piece of it ("module.function"), was compiled on this computer
    before; else the first solving waits for that, up to a minute for all pieces, once."""
    folder = os.environ.get("NUMBA_CACHE_DIR", "")
    return bool(folder) and any(Path(folder).rglob(f"{piece}*.nbi"))


def when_compiling(tell: Callable[[], None]) -> None:
    """Have `tell` called just before a piece of the solver is compiled that was not before."""
    if tell not in _listeners:
        _listeners.append(tell)


def needs(piece: str) -> None:
    """Tell whoever listens when this piece has yet to be compiled; once a piece and process."""
    if piece in _looked_for:
        return
    _looked_for.add(piece)
    if not compiled(piece):
        for tell in _listeners:
            tell()
