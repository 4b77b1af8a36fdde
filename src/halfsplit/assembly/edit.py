"""Change one value of an assembly file and not one other byte of it."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from ruamel.yaml.nodes import MappingNode, Node, ScalarNode

from halfsplit.assembly.file import load, near
from halfsplit.assembly.pattern_edit import target
from halfsplit.assembly.text import TextError, read_text
from halfsplit.parts.yaml_text import composed
from halfsplit.problems import HalfsplitError, NotFoundError, Problem, ProblemsError

# Text that means the same with and without quotes, inside braces or not.
_PLAIN = re.compile(r"(?!- )[\w.+/µΩ-]([\w .+/%µΩ-]*[\w.+/%µΩ])?", re.ASCII)
_BOM = "\ufeff"


def set_value(path: Path, dotted: str, text: str) -> str:
    """Set the entry at `dotted` (such as ``parts.R6.value``) to `text`; returns what stood there.

    A new entry goes at the end of its group. A part that comes from a pattern is changed on the
    line of its use: see :func:`halfsplit.assembly.pattern_edit.target`. The new file is written
    beside the old, with its permissions, and takes its place only if it loads without error.
    Raises NotFoundError for a path that leads to no single value, ProblemsError when the result
    would be wrong, HalfsplitError when the file cannot be written; the file is untouched in every
    case.
    """
    if any("\ud800" <= c <= "\udfff" for c in dotted + text):
        wrong = "there is a byte here that is no character"
        raise ProblemsError([Problem(str(path), 0, 0, "", wrong, "it again in plain text")])
    source = source_of(path)
    root = _compose(path, source)
    moved = target(path, dotted, text)
    if moved is not None:
        dotted, text = moved.dotted, moved.text
    group, key = _group(path, root, dotted)
    if moved is not None and moved.beside is not None:
        ref, field = moved.beside
        beside = _inserted(source, group, ref, f"{{{_scalar(field)}: {_scalar(text)}}}", raw=True)
        put_text(path, beside, loads_well)
        return moved.old
    node = next((v for k, v in group.value if k.value == key), None)
    if node is None:
        old, changed = "", _inserted(source, group, key, text)
    elif isinstance(node, ScalarNode):
        old, changed = str(node.value), _replaced(source, node, text)
    else:
        inner = ", ".join(str(k.value) for k, _ in node.value if isinstance(k, ScalarNode))
        raise NotFoundError(f"{path}: {dotted} holds several values ({inner}); name one of them")
    put_text(path, changed, loads_well)
    return old if moved is None else moved.old


def source_of(path: Path) -> str:
    """A file's text. Raises NotFoundError or ProblemsError."""
    try:
        return read_text(path)
    except TextError as error:
        if "no such file" in error.wrong:
            raise NotFoundError(f"{path}: there is no such file") from None
        raise ProblemsError([error.problem(path)]) from None


class Change(Protocol):
    """One change of the text: see :class:`halfsplit.faults.slips.Edit`."""

    @property
    def what(self) -> str:
        """Sort of change."""

    @property
    def path(self) -> str:
        """Where."""

    @property
    def text(self) -> str:
        """What to write."""

    @property
    def after(self) -> str:
        """Part an inserted one stands behind."""


def apply_edits(path: Path, edits: Sequence[Change]) -> list[tuple[int, str, str]]:
    """Make several changes at once, as undoing one slip of the keyboard needs.

    Each is "set" (`text` at `path`), "insert" (the part `path` with the entry `text`, behind the
    part `after`) or "rename" (the part `path` called `text`). Returns line number, old and new text
    of every line that differs. A file that could not be loaded before may still not load after, if
    fewer of its entries are wrong. Raises like :func:`set_value`; the file is then untouched.
    """
    before = source_of(path)
    wrong = sum(p.severity == "error" for p in load(path)[1])
    if len(edits) == 1 and edits[0].what == "set" and not wrong:
        set_value(path, edits[0].path, edits[0].text)  # which knows parts placed by a pattern
        return _differing(before, source_of(path))
    source = before
    for edit in edits:
        root = _compose(path, source)
        dotted = edit.path if edit.what == "set" else f"parts.{edit.path}"
        if edit.what == "insert":
            source = _behind(path, source, root, edit)
            continue
        group, key = _group(path, root, dotted)
        pair = next(((k, v) for k, v in group.value if k.value == key), None)
        if pair is None and edit.what == "set" and edit.path.count(".") > 1:
            source = _inserted(source, group, key, edit.text)
        elif pair is None or not isinstance(pair[1] if edit.what == "set" else pair[0], ScalarNode):
            raise NotFoundError(f"{path}: {dotted} does not stand in this file as one value")
        else:
            source = _replaced(source, pair[1] if edit.what == "set" else pair[0], edit.text)

    def errors(trial: Path) -> list[Problem]:
        """Of a file wrong before, none if less of it is wrong now."""
        found = loads_well(trial)
        return found if len(found) >= max(wrong, 1) else []

    put_text(path, source, errors)
    return _differing(before, source)


def _differing(before: str, after: str) -> list[tuple[int, str, str]]:
    old, new = before.splitlines(), after.splitlines()
    if len(old) == len(new):
        return [(i + 1, a, b) for i, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    at = next((i for i, (a, b) in enumerate(zip(old, new, strict=False)) if a != b), len(old))
    return [(at + 1, "", new[at])]


def _behind(path: Path, source: str, root: MappingNode, edit: Change) -> str:
    """A part's entry on a line of its own, behind another's."""
    parts = next((v for k, v in root.value if k.value == "parts"), None)
    if not isinstance(parts, MappingNode) or parts.flow_style or not parts.value:
        raise NotFoundError(f"{path}: there are no lines of `parts` to put {edit.path} between")
    found = next(((k, v) for k, v in parts.value if k.value == edit.after), None)
    newline = "\r\n" if "\r\n" in source else "\n"
    column = int(parts.value[0][0].start_mark.column)
    line = " " * column + f"{edit.path}: {edit.text}" + newline
    at = int((found or parts.value[0])[0].start_mark.index)
    if found is None:
        at = source.rfind("\n", 0, at) + 1
    else:
        at = int(found[1].end_mark.index)
        if source[at - 1 : at] != "\n":
            end = source.find("\n", at)
            if end < 0:
                source, end = source + newline, len(source) + len(newline) - 1
            at = end + 1
    return source[:at] + line + source[at:]


def _compose(path: Path, source: str) -> MappingNode:
    try:
        root = composed(source)
    except Exception:  # whatever the YAML reader raises, loading the file says it in words
        root = None
    if isinstance(root, MappingNode):
        return root
    problems = load(path)[1] or [Problem(str(path), 1, 1, "", "the file is no assembly")]
    raise ProblemsError(problems)


def _group(path: Path, root: MappingNode, dotted: str) -> tuple[MappingNode, str]:
    """The mapping that holds the last name of `dotted`; names may contain dots themselves."""
    node, rest = root, dotted
    while True:
        inner = {k.value: v for k, v in node.value if isinstance(k, ScalarNode)}
        if rest in inner or "." not in rest:
            return node, rest
        step = max((k for k in inner if rest.startswith(f"{k}.")), key=len, default=None)
        if step is None:
            first = rest.partition(".")[0]
            close = near(first, inner)
            raise NotFoundError(
                f"{path}: there is no `{first}` on the way to {dotted}"
                + (f"; did you mean {close}?" if close else "")
            )
        deeper: Node = inner[step]
        if not isinstance(deeper, MappingNode):
            raise NotFoundError(f"{path}: {dotted} does not lead to an entry")
        node, rest = deeper, rest[len(step) + 1 :]


def _scalar(text: str, style: str | None = None) -> str:
    if style == "'" and "'" not in text and text.isprintable():
        return f"'{text}'"
    if style != '"' and _PLAIN.fullmatch(text):
        return text
    return json.dumps(text, ensure_ascii=False)


def _replaced(source: str, node: ScalarNode, text: str) -> str:
    start, end = int(node.start_mark.index), int(node.end_mark.index)
    new = _scalar(text, node.style)
    if start == end:  # nothing stood there; the place is right behind the colon
        new = f" {new}"
    elif node.style in ("|", ">"):
        kept = source[start:end]
        new += kept[len(kept.rstrip("\r\n")) :] or "\n"
    return source[:start] + new + source[end:]


def _inserted(source: str, group: MappingNode, key: str, text: str, *, raw: bool = False) -> str:
    entry = f"{_scalar(key)}: {text if raw else _scalar(text)}"
    if group.flow_style:
        end = int(group.end_mark.index) - 1  # the closing brace
        body = source[:end].rstrip()
        comma = " " if body.endswith((",", "{")) else ", "
        return body + (entry if body.endswith("{") else comma + entry) + source[len(body) :]
    first = group.value[0][0].start_mark
    newline = "\r\n" if "\r\n" in source else "\n"
    line = source.rfind("\n", 0, first.index) + 1
    return source[:line] + " " * int(first.column) + entry + newline + source[line:]


def loads_well(trial: Path) -> list[Problem]:
    """Errors that keep a file from being used."""
    assembly, problems = load(trial)
    return [] if assembly is not None else [p for p in problems if p.severity == "error"]


def put_text(path: Path, changed: str, errors: Callable[[Path], list[Problem]]) -> None:
    """Put a new text in a file's place, whole and on disk, with its permissions.

    `errors` is asked of a trial beside the file; when it finds any, ProblemsError with them is
    raised and the file stays. Raises HalfsplitError when it cannot be written.
    """
    target = path.resolve()
    trial = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        start = _BOM if target.read_bytes().startswith(_BOM.encode()) else ""
        with trial.open("wb") as stream:
            stream.write((start + changed).encode("utf-8"))
            stream.flush()
            os.fsync(stream.fileno())
        found = errors(trial)
        if found:
            named = {str(trial): str(path)}  # problems of a pattern's own file keep that
            raise ProblemsError(
                [Problem(**{**p.as_dict(), "file": named.get(p.file, p.file)}) for p in found]
            )
        shutil.copymode(target, trial)
        trial.replace(target)
    except OSError as error:
        raise HalfsplitError(f"{path}: cannot be written: {error.strerror or error}") from error
    finally:
        trial.unlink(missing_ok=True)
