"""Parsed text kept on disk under the hash of what it was parsed from: only a cache.

JSON, so that a file somebody else put there can at worst be refused; failing to read or write
loses nothing but time.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import platformdirs


def cache_folder() -> Path:
    """Where what can be computed again is kept between runs."""
    return Path(os.environ.get("HALFSPLIT_CACHE") or platformdirs.user_cache_dir("halfsplit"))


def digest_of(files: Iterable[Path]) -> str:
    """Hash of the names and contents of `files` and of the code that reads them."""
    digest = hashlib.sha256()
    for file in [*files, *sorted(Path(__file__).parent.glob("*.py"))]:
        content = file.read_bytes()
        digest.update(f"{file.name} {len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()[:32]


def _place(name: str, digest: str) -> Path:
    return cache_folder() / name / f"{digest}.json"


def kept(name: str, digest: str) -> Any:
    """What :func:`keep` stored under `name` and `digest`; None when absent or damaged."""
    try:
        return json.loads(_place(name, digest).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None


def keep(name: str, digest: str, data: Any) -> None:
    """Store `data`, beside and renamed, so that a killed run leaves no half file."""
    path = _place(name, digest)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        trial = path.with_name(f"{path.stem}.{os.getpid()}.part")
        trial.write_text(json.dumps(data), encoding="utf-8")
        trial.replace(path)
    except OSError:
        return
