"""Whether a journal entry from elsewhere has what the bench looks for in an entry of its kind.

Entries the bench wrote itself always do. One that was made up, or damaged, must be told before it
is put in force, not by a command weeks later.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from halfsplit.problems import Problem

Check = Callable[[Any], bool]
DEEPEST = 12  # levels of anything the bench ever wrote
LONGEST_TEXT = 200_000  # a pasted print is cut at half of that


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _yes_no(value: Any) -> bool:
    return isinstance(value, bool)


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and _finite(value)


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _or_none(check: Check) -> Check:
    return lambda value: value is None or check(value)


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(v, str) for v in value)


def _numbers(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(map(_number, value))


def _record(value: Any) -> bool:
    return isinstance(value, dict)


def _records(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(v, dict) for v in value)


def _pieces(value: Any) -> bool:
    return isinstance(value, list) and all(
        isinstance(v, list) and len(v) == 2 and _number(v[0]) and _text(v[1]) for v in value
    )


def _pooled(value: Any) -> bool:
    return isinstance(value, dict) and all(
        isinstance(v, dict) and _number(v.get("factor")) and v["factor"] > 0 for v in value.values()
    )


def _values(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(v, str) for v in value.values())


# Fields an entry of each kind must have; others are let be.
NEEDED: dict[str, dict[str, Check]] = {
    "condition": {"condition": _record},
    "read": {
        "net": _text,
        "against": _text,
        "quantity": _text,
        "value": _or_none(_number),
        "resolution": _number,
        "state": _text,
        "text": _text,
        "condition": _record,
        "meter": _record,
    },
    "observe": {
        "text": _text,
        "part": _text,
        "touched": _yes_no,
        "sign": _text,
        "found": _values,
        "condition": _record,
    },
    "factor": {"of": _text, "factor": _number},
    "prove": {"part": _text, "good": _yes_no, "text": _text},
    "meter": {"meter": _record},
    "trip": {"rail": _text, "volts": _number},
    "protect": {"part": _text, "rail": _text, "passed": _yes_no, "condition": _record},
    "reform": {"part": _text, "volts": _number, "amps": _number, "rule": _text},
    "discharge": {"part": _text, "volts": _number, "passed": _yes_no},
    "override": {"gate": _text, "why": _text},
    "plan": {"steps": _records},
    "step": {"step": _text, "note": _text},
    "disturbed": {"parts": _texts},
    "console": {"way": _text, "pieces": _pieces},
    "memory": {"board": _text, "text": _text, "causes": _records},
    "strap": {"board": _text, "strap": _text, "position": _text, "moved": _yes_no},
    "slot": {"board": _text, "rail": _text, "unit": _text, "value": _number},
    "board-in": {"board": _text},
    "board-out": {"board": _text},
    "rail-on": {"rail": _text},
    "rail-off": {"rail": _text},
    "undo": {"undoes": _number},
    "outcome": {"part": _text, "mode": _text},
    "outcomes": {"id": _text, "turn": _number},
    "pool": {
        "file": _text,
        "sha256": _text,
        "machines": _number,
        "year": _number,
        "kinds": _pooled,
        "modes": _record,
    },
    "unpacked": {"entries": _number},
}
OPTIONAL: dict[str, dict[str, Check]] = {
    "observe": {"degrees": _number},
    "condition": {"did": _text},
    "read": {"ohmmeter": _record, "instrument": _record},
    "reform": {"minutes": _or_none(_number)},
    "console": {"settings": _record},
    "protect": {"reasons": _texts, "test": _text, "volts": _or_none(_numbers)},
}


def entry_fault(kind: str, body: Mapping[str, Any]) -> str:
    """What is wrong with the body of an entry; "" when the bench can make sense of it."""
    wanted = NEEDED.get(kind)
    if wanted is None:
        return f"there is no kind of entry called {kind[:40]!r}"
    for name, check in wanted.items():
        if name not in body:
            return f"its {name} is missing"
        if not check(body[name]):
            return f"its {name} is not what belongs there"
    for name, check in OPTIONAL.get(kind, {}).items():
        if name in body and not check(body[name]):
            return f"its {name} is not what belongs there"
    if kind == "protect" and body.get("test") == "crowbar":
        good = _numbers(body.get("volts")) and _texts(body.get("reasons"))
        if not good:
            return "a crowbar test needs its volts and reasons"
    if not _plain(body, DEEPEST):
        return "it is nested deeper, or holds a longer text, than any entry of the bench"
    return ""


def _plain(value: Any, left: int) -> bool:
    if isinstance(value, str):
        return len(value) <= LONGEST_TEXT and not any("\ud800" <= c <= "\udfff" for c in value)
    if isinstance(value, Mapping):
        return left > 0 and all(_plain(k, left) and _plain(v, left - 1) for k, v in value.items())
    if isinstance(value, list):
        return left > 0 and all(_plain(v, left - 1) for v in value)
    return value is None or isinstance(value, bool) or _finite(value)


def entry_problems(entries: Iterable[Mapping[str, Any]], file: str) -> list[Problem]:
    """Every entry of an exported journal the bench could make no sense of."""
    found = []
    for k, entry in enumerate(entries):
        wrong = entry_fault(str(entry["kind"]), entry["body"])
        if wrong:
            words = f"entry {entry['seq']}, {entry['kind'][:40]}: {wrong}"
            found.append(Problem(file, 0, 0, f"entries.{k}", words))
    return found
