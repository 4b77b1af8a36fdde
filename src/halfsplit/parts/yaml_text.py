"""YAML that people typed or sent: read by the usual library, no deeper than anybody types.

The library's reader takes quadratic time in open brackets: half a thousand of them took it five
seconds of processor time. A file of a machine has four or five levels.
"""

from __future__ import annotations

import warnings
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import ReusedAnchorWarning
from ruamel.yaml.nodes import Node
from ruamel.yaml.scanner import RoundTripScanner, Scanner, ScannerError

DEEPEST = 40  # levels of brackets, and of indents
FLOW = "brackets stand inside brackets far too deep"
BLOCK = "entries stand inside entries far too deep"


class _Shallow:
    """Refuses to go deeper, at the place."""

    def fetch_flow_collection_start(self, TokenClass: Any, to_push: str) -> None:
        it: Any = self
        if len(it.flow_context) >= DEEPEST:
            raise ScannerError(None, None, FLOW, it.reader.get_mark())
        super().fetch_flow_collection_start(TokenClass, to_push)  # type: ignore[misc]

    def add_indent(self, column: int) -> bool:
        it: Any = self
        if len(it.indents) >= DEEPEST:
            raise ScannerError(None, None, BLOCK, it.reader.get_mark())
        return bool(super().add_indent(column))  # type: ignore[misc]


class _RoundTrip(_Shallow, RoundTripScanner):
    pass


class _Plain(_Shallow, Scanner):
    pass


def keeping() -> YAML:
    """A reader and writer that keeps comments and order."""
    yaml = YAML(typ="rt")
    yaml.Scanner = _RoundTrip
    return yaml


def loaded(text: str, constructor: type | None = None) -> Any:
    """The document in `text`, with places and comments; made by `constructor` where one is given.
    Raises what the library raises."""
    reader = keeping()
    if constructor is not None:
        reader.Constructor = constructor
    with warnings.catch_warnings():
        # An anchor given twice is odd, not wrong: the later one counts, as YAML 1.2 says.
        warnings.simplefilter("ignore", ReusedAnchorWarning)
        return reader.load(text)


def composed(text: str) -> Node | None:
    """The nodes of `text`, for editing in place. Raises what the library raises."""
    yaml = YAML(typ="safe", pure=True)
    yaml.Scanner = _Plain
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ReusedAnchorWarning)
        found: Node | None = yaml.compose(text)
    return found
