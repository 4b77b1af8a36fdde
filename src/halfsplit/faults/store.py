"""Arrays kept on disk between runs: only a cache, so failing to read or write loses nothing."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

from halfsplit.parts.kept import cache_folder

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["cache_folder", "load_arrays", "store_arrays"]


def load_arrays(path: Path) -> dict[str, npt.NDArray[Any]] | None:
    """Everything in the file by name; None when it is absent or damaged."""
    import numpy as np  # not at the top: who only asks for the folder needs none of it

    try:
        with path.open("rb") as stream, np.load(stream) as data:
            return {name: data[name] for name in data.files}
    except (OSError, ValueError, KeyError, EOFError, BadZipFile):
        return None


def store_arrays(path: Path, arrays: Mapping[str, npt.ArrayLike]) -> None:
    """Write beside and rename, so that a killed run leaves no half file; failing is no loss."""
    import numpy as np

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        trial = path.with_name(f"{path.stem}.{os.getpid()}.part")
        with trial.open("wb") as stream:
            named: dict[str, Any] = {k: np.asarray(v) for k, v in arrays.items()}
            np.savez(stream, **named)
        trial.replace(path)
    except OSError:
        return
