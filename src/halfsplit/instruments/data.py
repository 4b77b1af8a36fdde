"""The data file beside an instrument's code."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from ruamel.yaml import YAML


@cache
def data(folder: str, name: str) -> dict[str, Any]:
    """The YAML file `name` in a folder of this package."""
    text = (files("halfsplit.instruments") / folder / name).read_text(encoding="utf-8")
    found: dict[str, Any] = YAML(typ="safe").load(text)
    return found
