"""From a file on disk to a YAML document with places, or the reason it is no document."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.constructor import RoundTripConstructor
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from halfsplit.assembly.advice import yaml_words
from halfsplit.parts.yaml_text import loaded
from halfsplit.problems import Problem

# A file beyond this is no bench circuit: 3,500 parts on a line each, read in three seconds of
# processor time. Larger ones are refused before they eat memory and minutes.
LARGEST_FILE = 300_000  # bytes
Places = dict[str, tuple[int, int]]


class TextError(Exception):
    """The text cannot be used; carries the one problem with its place."""

    def __init__(self, line: int, column: int, wrong: str, instead: str = "") -> None:
        super().__init__(wrong)
        self.line, self.column, self.wrong, self.instead = line, column, wrong, instead

    def problem(self, path: Path) -> Problem:
        """The problem as reported to the user."""
        return Problem(str(path), self.line, self.column, "", self.wrong, self.instead)


def read_text(path: Path) -> str:
    """The file as text, line ends as they are. Raises TextError."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise TextError(1, 1, "the file is far too large for an assembly", "one machine a file")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise TextError(1, 1, "there is no such file") from None
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        raise TextError(1, 1, f"the file cannot be read: {said}") from None
    if b"\0" in raw:
        raise TextError(1, 1, "this is not a text file", "the assembly in plain text")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line, column = before.count(b"\n") + 1, len(before.rpartition(b"\n")[2]) + 1
        wrong = f"byte 0x{raw[error.start]:02x} is not UTF-8 text"
        raise TextError(line, column, wrong, "the file again, saved as UTF-8") from None


def document(path: Path, given: str | None = None) -> tuple[CommentedMap, Places, list[TextError]]:
    """The parsed file, line and column (from 1) of every key in it, and every name given twice.

    Of a name given twice the first entry is in the document. Raises TextError.
    `given`: another text of that file, such as an earlier one, to read in its place.
    """
    text = read_text(path) if given is None else given
    doubled: list[TextError] = []

    class Constructor(RoundTripConstructor):
        def check_mapping_key(
            self, node: Any, key_node: Any, mapping: Any, key: Any, value: Any
        ) -> bool:
            if key not in mapping:
                return True
            wrong, instead = yaml_words("duplicate key", str(key))
            first = mapping.lc.key(key)[0] + 1
            mark = key_node.start_mark
            wrong += f", first in line {first}"
            doubled.append(TextError(mark.line + 1, mark.column + 1, wrong, instead))
            return False

    try:
        found = loaded(text, Constructor)
        if isinstance(found, CommentedMap):
            return found, dict(_places(found, "", (1, 1), set())), doubled
    except MarkedYAMLError as error:
        raise _not_yaml(error) from None
    except RecursionError:
        wrong = "brackets stand inside brackets far too deep"
        raise TextError(1, 1, wrong, "key: value lines") from None
    except (YAMLError, ValueError, TypeError, AttributeError, LookupError) as error:
        # The YAML reader lets a few errors of its own code through on damaged text.
        raise _damaged(text, error) from None
    what = "the file is empty" if found is None else "the file is no assembly"
    raise TextError(1, 1, what, "assembly: <name>, then parts: with the parts under it")


def _places(
    node: Any, path: str, at: tuple[int, int], seen: set[int]
) -> Iterator[tuple[str, tuple[int, int]]]:
    if not isinstance(node, (CommentedMap, CommentedSeq)):
        return
    if id(node) in seen or getattr(node, "merge", None):
        wrong = f"`{path}` borrows another entry with `*` or `<<`"
        raise TextError(*at, wrong, "each entry out in full")
    seen.add(id(node))
    if isinstance(node, CommentedMap):
        for key in node:
            where = f"{path}.{key}" if path else str(key)
            line, column = node.lc.key(key)
            here = (line + 1, column + 1)
            yield where, here
            yield from _places(node[key], where, here, seen)
    else:
        for index, item in enumerate(node):
            line, column = node.lc.item(index)
            here = (line + 1, column + 1)
            yield f"{path}.{index}", here
            yield from _places(item, f"{path}.{index}", here, seen)


def _not_yaml(error: MarkedYAMLError) -> TextError:
    said = " ".join(str(error.problem or error.context or "not valid YAML").split())
    context, opened = str(error.context), error.context_mark
    mark = error.problem_mark or opened
    key = re.search(r'key "(.*?)" with value', said)
    wrong, instead = yaml_words(said, key[1] if key else "")
    if opened and mark and "flow" in context and opened.line != mark.line:
        mark, wrong = (
            opened,
            "the bracket opened here is not closed, or a comma after it is missing",
        )
        instead = "{key: value, key: value}"
    elif opened and "quoted" in context:
        mark = opened
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    return TextError(line, column, wrong, instead)


def _damaged(text: str, error: Exception) -> TextError:
    place = getattr(error, "position", None)
    if isinstance(place, int) and 0 <= place < len(text):
        before = text[:place]
        line, column = before.count("\n") + 1, len(before.rpartition("\n")[2]) + 1
        wrong = f"there is a character here that no text has (code {ord(text[place]):#x})"
        return TextError(line, column, wrong, "the line again without it")
    return TextError(1, 1, f"not readable as YAML: {' '.join(str(error).split())[:120]}")
