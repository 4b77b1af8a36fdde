"""Arrays kept on disk between runs: only a cache, so failing to read or write loses nothing."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import platformdirs


def cache_folder() -> Path:
    """Where predictions are kept between runs."""
    return Path(os.environ.get("HALFSPLIT_CACHE") or platformdirs.user_cache_dir("halfsplit"))


def load_arrays(path: Path) -> dict[str, npt.NDArray[Any]] | None:
    """Everything in the file by name; None when it is absent or damaged."""
    try:
        with np.load(path) as data:
            return {name: data[name] for name in data.files}
    except (OSError, ValueError, KeyError, EOFError):
        return None


def store_arrays(path: Path, arrays: Mapping[str, npt.ArrayLike]) -> None:
    """Write beside and rename, so that a killed run leaves no half file; failing is no loss."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        trial = path.with_name(f"{path.stem}.{os.getpid()}.part")
        with trial.open("wb") as stream:
            named: dict[str, Any] = {k: np.asarray(v) for k, v in arrays.items()}
            np.savez(stream, **named)
        trial.replace(path)
    except OSError:
        return
