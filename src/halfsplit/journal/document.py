"""Reading back an exported journal: all of it, or the list of what is wrong with it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from halfsplit.problems import Problem, ProblemsError

FORMAT = 1  # of the exported document
# Largest whole number every JSON reader takes exactly (RFC 8259, section 6).
LARGEST = 2**53 - 1
Row = tuple[int, str, str, str, str | None]


def import_rows(document: object) -> list[Row]:
    """Rows (number, time, kind, body as JSON, key) of an exported document.

    Raises ProblemsError with every entry that cannot be taken.
    """
    rows = document.get("entries") if isinstance(document, Mapping) else None
    if not isinstance(document, Mapping) or not isinstance(rows, list):
        raise ProblemsError([_problem("", "not an exported journal", "what export --json wrote")])
    if document.get("halfsplit_journal") != FORMAT:
        wrong = f"written in format {document.get('halfsplit_journal')!r}, and this reads {FORMAT}"
        raise ProblemsError([_problem("halfsplit_journal", wrong)])
    problems: list[Problem] = []
    good: list[Row] = []
    before: dict[int, str] = {}
    keys: set[str] = set()
    for i, row in enumerate(rows):
        try:
            good.append(_row(row, before, keys))
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            what = f"{error} is missing" if isinstance(error, KeyError) else str(error)
            problems.append(_problem(f"entries.{i}", f"unreadable entry: {what}"))
    if problems:
        raise ProblemsError(problems)
    return good


def _problem(path: str, wrong: str, instead: str = "") -> Problem:
    return Problem("", 0, 0, path, wrong, instead)


def _row(row: Any, before: dict[int, str], keys: set[str]) -> Row:
    if not isinstance(row, Mapping):
        raise ValueError("it is no entry")
    seq, kind, body, key = row["seq"], row["kind"], row["body"], row.get("key")
    if type(seq) is not int or not max(before, default=0) < seq <= LARGEST:
        raise ValueError(f"number {seq!r} does not follow the one before")
    if not isinstance(kind, str) or not kind or not isinstance(body, Mapping):
        raise ValueError("kind must be a word and body an object")
    if key is not None and (not isinstance(key, str) or key in keys):
        raise ValueError(f"key {key!r} is no text, or used twice")
    if kind == "undo" and (type(body["undoes"]) is not int or body["undoes"] not in before):
        raise ValueError(f"it undoes {body['undoes']!r}, and there is no such entry before it")
    at = datetime.fromisoformat(row["at"])
    if at.tzinfo is None:
        raise ValueError(f"time {row['at']} has no zone")
    text = json.dumps(body, sort_keys=True, ensure_ascii=False, allow_nan=False)
    before[seq] = kind
    if key is not None:
        keys.add(key)
    return seq, at.astimezone(UTC).isoformat(), kind, text, key
