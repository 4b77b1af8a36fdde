"""In-house markings of a machine's maker: which standard type each stands for, as the user says.

A file `house-numbers.yaml` beside the machine's file, or in the user's configuration folder::

    "HM-2207": {type: 2N3906, says: cross-reference in the service manual, confidence: sure}
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from halfsplit.parts import catalogue
from halfsplit.parts.yaml_text import loaded
from halfsplit.problems import Problem

HOUSE = "house-numbers.yaml"
CONFIDENCE = ("sure", "likely", "guess")
_FIELDS = ("type", "says", "confidence", "note")
_SAMPLE = '"HM-2207": {type: 2N3906, says: who says so, confidence: sure}'
_LARGEST = 1_000_000  # bytes: some twenty thousand markings


@dataclass(frozen=True)
class HouseNumber:
    """One marking: the standard type it stands for, who says so, how sure that is, and where."""

    marking: str
    type: str
    says: str
    confidence: str
    note: str
    file: str
    line: int

    def words(self) -> str:
        """One sentence for a part's note."""
        return f"marked {self.marking}, a {self.type} by {self.says} ({self.confidence})"


def config_folder() -> Path:
    """Folder of the user's own settings."""
    return Path(os.environ.get("HALFSPLIT_CONFIG") or platformdirs.user_config_dir("halfsplit"))


def house_numbers(folder: Path) -> tuple[dict[str, HouseNumber], list[Problem]]:
    """Markings by :func:`catalogue.same`, those beside the machine before the user's own.

    Nothing is raised: what is wrong with either file comes back as problems, and good lines of it
    are used all the same.
    """
    found: dict[str, HouseNumber] = {}
    problems: list[Problem] = []
    for file in dict.fromkeys((config_folder() / HOUSE, folder / HOUSE)):
        if file.is_file():
            read, wrong = read_house(file)
            found |= read
            problems += wrong
    return found, problems


def read_house(file: Path) -> tuple[dict[str, HouseNumber], list[Problem]]:
    """One file: its good lines, and everything wrong with it at file:line."""
    problems: list[Problem] = []
    content = _content(file, problems)
    found: dict[str, HouseNumber] = {}
    for key, entry in content.items():
        line, column = (n + 1 for n in content.lc.key(key))
        before = len(problems)

        def complain(
            path: str, wrong: str, instead: str = "", at: tuple[int, int] = (line, column)
        ) -> None:
            problems.append(Problem(str(file), at[0], at[1], path, wrong, instead, "doubt"))

        number = _number(key, entry, file, line, complain)
        if len(problems) > before or number is None:
            continue
        if catalogue.same(number.marking) in found:
            complain(number.marking, "this marking is listed twice, spaces and case apart")
        else:
            found[catalogue.same(number.marking)] = number
    return found, problems


def _content(file: Path, problems: list[Problem]) -> CommentedMap:
    """The mapping in the file; empty, with a problem noted, when there is none."""
    line, wrong = 1, f"the file must list markings, such as {_SAMPLE}"
    try:
        if file.stat().st_size > _LARGEST:
            wrong = "the file is too large to be a list of markings"
        else:
            content = loaded(file.read_text(encoding="utf-8"))
            if isinstance(content, CommentedMap):
                return content
            if content is None:
                return CommentedMap()
    except (OSError, UnicodeDecodeError) as error:
        wrong = f"the file cannot be read: {getattr(error, 'strerror', None) or 'not UTF-8 text'}"
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        wrong = f"this is not readable as YAML: {error.problem}"
    except (YAMLError, ValueError, RecursionError) as error:
        wrong = f"this is not readable as YAML: {error}"
    problems.append(Problem(str(file), line, 1, "", wrong, "", "doubt"))
    return CommentedMap()


def _number(key: object, entry: object, file: Path, line: int, complain: Any) -> HouseNumber | None:
    """One line as a record, complaining of all that is wrong with it."""
    marking = str(key)
    if not isinstance(key, str):
        complain(marking, "a marking that YAML reads as a number needs quotes", f'"{marking}"')
    elif (row := catalogue.load().get(marking)) is not None:
        complain(marking, f"this is a standard type already ({row.type}); the line is not used")
    if not isinstance(entry, Mapping):
        complain(marking, "a marking needs its type and who says so", _SAMPLE)
        return None
    texts: dict[str, str] = {}
    places: dict[str, dict[str, Any]] = {}
    for field, value in entry.items():
        name = str(field)
        if isinstance(entry, CommentedMap):
            places[name] = {"at": tuple(n + 1 for n in entry.lc.key(field))}
        place = places.get(name, {})
        if name not in _FIELDS:
            close = difflib.get_close_matches(name, _FIELDS, n=1)
            complain(f"{marking}.{name}", f"there is no field {name}", "".join(close), **place)
        elif isinstance(value, (Mapping, list, bool)) or value is None:
            complain(f"{marking}.{name}", "words belong here", **place)
        else:
            texts[name] = str(value)
    for name in ("type", "says", "confidence"):
        if name not in texts and name not in entry:
            complain(f"{marking}.{name}", f"a marking needs its {name}", _SAMPLE)
    if "confidence" in texts and texts["confidence"] not in CONFIDENCE:
        wrong, place = "how sure that is has three steps", places.get("confidence", {})
        complain(f"{marking}.confidence", wrong, ", ".join(CONFIDENCE), **place)
    meant = texts.get("type", "")
    if meant and catalogue.load().get(meant) is None:
        near = " or ".join(catalogue.load().nearest(meant[:40]))
        wrong = f"type {meant} is not in the catalogue"
        complain(f"{marking}.type", wrong, near, **places.get("type", {}))
    says, sure = texts.get("says", ""), texts.get("confidence", "")
    return HouseNumber(marking, meant, says, sure, texts.get("note", ""), str(file), line)
