"""Files of outcomes: reading them as hostile, and putting several together."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from halfsplit.faults.pooling import AGES, UNTOLD, Row, shipped_weights
from halfsplit.problems import NotFoundError, Problem, ProblemsError

FORMAT = 1
LARGEST = 20_000_000  # bytes: some ten thousand machines
MOST_PARTS = 100_000  # of one class in one machine
_ID, _MODE = re.compile(r"[0-9a-f]{32}"), re.compile(r"[a-z0-9][a-z0-9 +-]{0,39}")
_KNOWN = {UNTOLD, *(name for _, name in AGES)}


@dataclass(frozen=True)
class Contribution:
    """Counts of one machine, under its random number; `turn` grows each time it is told anew."""

    id: str
    turn: int
    rows: tuple[Row, ...]

    def as_dict(self) -> dict[str, Any]:
        """As a file has it."""
        rows = [{**r.__dict__, "modes": dict(r.modes)} for r in self.rows]
        return {"id": self.id, "turn": self.turn, "rows": rows}


def read_outcomes(path: Path) -> list[Contribution]:
    """Every contribution of a file. Raises NotFoundError, or ProblemsError with all of it."""
    try:
        if path.stat().st_size > LARGEST:
            raise ProblemsError(
                [Problem(str(path), 0, 0, "", "is too large for counts of outcomes")]
            )
        document = json.loads(path.read_text(encoding="utf-8"))
        listed = document["contributions"]
        if document["halfsplit_outcomes"] != FORMAT or not isinstance(listed, list):
            raise ValueError("not the format this reads")
    except FileNotFoundError:
        raise NotFoundError(f"{path}: there is no such file") from None
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        wrong = f"is no file of outcomes: {getattr(error, 'strerror', None) or error}"[:200]
        instead = "the name of a file that `halfsplit outcomes` or `halfsplit pool` wrote"
        raise ProblemsError([Problem(str(path), 0, 0, "", wrong, instead)]) from None
    problems: list[Problem] = []
    found = []
    for k, entry in enumerate(listed):
        try:
            found.append(_contribution(entry))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            what = f"{error} is missing" if isinstance(error, KeyError) else str(error)
            problems.append(Problem(str(path), 0, 0, f"contributions.{k}", what[:200]))
    if len({c.id for c in found}) != len(found):
        problems.append(Problem(str(path), 0, 0, "contributions", "one machine stands in it twice"))
    if problems:
        raise ProblemsError(problems)
    return found


def _contribution(entry: Mapping[str, Any]) -> Contribution:
    if set(entry) != {"id", "turn", "rows"}:
        raise ValueError("has other fields than id, turn, rows")
    if not isinstance(entry["id"], str) or not _ID.fullmatch(entry["id"]):
        raise ValueError("its id is no random number of ours")
    rows = tuple(_row(r) for r in entry["rows"])
    if len({(r.of, r.age) for r in rows}) != len(rows):
        raise ValueError("a class of one age stands in it twice")
    return Contribution(entry["id"], _count(entry["turn"], 1_000_000), rows)


def _row(row: Mapping[str, Any]) -> Row:
    if set(row) != {"of", "age", "exposed", "failed", "modes"}:
        raise ValueError("a row has other fields than of, age, exposed, failed, modes")
    of, age = row["of"], row["age"]
    if of not in shipped_weights() or age not in _KNOWN:
        raise ValueError(f"there is no class {str(of)[:40]!r} of age {str(age)[:20]!r}")
    exposed = _count(row["exposed"], MOST_PARTS)
    failed = _count(row["failed"], exposed)
    modes = {str(k): _count(v, failed) for k, v in row["modes"].items()}
    if not all(_MODE.fullmatch(k) for k in modes) or sum(modes.values()) > failed:
        raise ValueError(f"the ways {of} was bad do not fit the {failed} that were")
    return Row(of, age, exposed, failed, modes)


def _count(value: Any, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise ValueError(f"{str(value)[:20]} is no count from 0 to {most}")
    return value


def merged(
    files: Sequence[tuple[str, Sequence[Contribution]]],
) -> tuple[list[Contribution], list[str]]:
    """Contributions of several files, each machine once, and what was left out, in words.

    The same machine told again stands once, as told last. Told otherwise in the same turn, by two
    who have its journal or by somebody who altered a file, it stands as in the file named first.
    """
    found: dict[str, Contribution] = {}
    where: dict[str, str] = {}
    again: list[str] = []
    for name, listed in files:
        for one in listed:
            before = found.get(one.id)
            if before is not None:
                words = f"{name}: machine {one.id[:8]}… is in {where[one.id]} too, counted once"
                if before.turn == one.turn and before != one:
                    words += f" and as told there, which is not as here: {where[one.id]} came first"
                again.append(words)
            if before is None or one.turn > before.turn:
                found[one.id], where[one.id] = one, name
    return [found[k] for k in sorted(found)], again
