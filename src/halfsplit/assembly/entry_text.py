"""Whole entries of a file's sections put in, changed and taken out; every other byte stays.

These work on text alone. An entry is changed field by field, so comments on its line, the order of
its fields and the spelling of what did not change are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from halfsplit.assembly.plain import line_end, value_text, written
from halfsplit.problems import HalfsplitError

Edit = tuple[int, int, str]  # from, to, what stands there then
# Where a section that is not there yet goes: before the first of those that follow it.
AFTER = ("patterns", "rails", "loads", "feeds", "points", "leans", "air", "layout", "notes")
ORDER = ("parts", *AFTER)


def compose(source: str) -> MappingNode | None:
    """The text as nodes with their places; None when it is no mapping."""
    try:
        root = YAML(typ="safe", pure=True).compose(source)
    except Exception:  # whatever the YAML reader raises; reading the file says it in words
        return None
    return root if isinstance(root, MappingNode) else None


def with_entries(source: str, section: str, entries: Mapping[str, Mapping[str, Any]]) -> str:
    """The text with entries put in or, where their names stand there already, changed.

    Raises HalfsplitError when the section cannot take entries as it stands.
    """
    root = _root(source)
    if not entries:
        return source
    pair = next(((k, v) for k, v in root.value if k.value == section), None)
    if pair is None:
        return _new_section(source, root, section, entries)
    key, node = pair
    newline = _newline(source)
    edits: list[Edit] = []
    if isinstance(node, MappingNode) and node.value:
        there = {k.value: v for k, v in node.value if isinstance(k, ScalarNode)}
        fresh = {k: e for k, e in entries.items() if k not in there}
        for name, entry in entries.items():
            if name in there:
                edits += _changed(source, there[name], entry, newline)
        if fresh and node.flow_style:
            at = len(source[: int(node.end_mark.index) - 1].rstrip().rstrip(","))
            listed = ", ".join(f"{value_text(k)}: {written(e)}" for k, e in fresh.items())
            edits.append((at, at, f", {listed}"))
        elif fresh:
            last_key, last = node.value[-1]
            at = line_end(source, _end(last))
            lead = " " * int(node.value[0][0].start_mark.column)
            lines = _lines(fresh, lead, newline, _gap(last_key, last))
            ends = source[:at].endswith(("\n", "\r")) or at == 0
            edits.append((at, at, lines if ends else newline + lines))
    elif isinstance(node, MappingNode) or (isinstance(node, ScalarNode) and not node.value):
        # `parts:` with nothing, or with {}, below it
        start, end = int(key.end_mark.index), int(node.end_mark.index)
        colon = source.index(":", start) + 1
        if isinstance(node, MappingNode):
            edits.append((colon, end, ""))
            colon = end
        at = line_end(source, colon)
        body = _lines(entries, "  ", newline, 0)
        ends = source[:at].endswith(("\n", "\r"))
        edits.append((at, at, body if ends else newline + body))
    else:
        raise HalfsplitError(f"what stands under `{section}:` is no list of `name: {{…}}` lines")
    return _applied(source, edits)


def without_entry(source: str, section: str, name: str) -> str:
    """The text without an entry, a comment at the end of its line included.

    Raises HalfsplitError when there is none.
    """
    root = _root(source)
    node = next((v for k, v in root.value if k.value == section), None)
    if isinstance(node, MappingNode):
        for at, (key, value) in enumerate(node.value):
            if key.value == name:
                return _applied(source, [_gone(source, node, at, key, value, lambda k: k != name)])
    raise HalfsplitError(f"there is no {name} under `{section}:`")


def entry_text(source: str, section: str, name: str) -> str | None:
    """What stands after an entry's colon; None when there is no such entry."""
    found = entry_place(source, section, name)
    return None if found is None else source[found[0] : found[1]]


def entry_place(source: str, section: str, name: str) -> tuple[int, int] | None:
    """From where to where an entry's own text goes; None when there is no such entry."""
    root = compose(source)
    node = next((v for k, v in root.value if k.value == section), None) if root else None
    for key, value in node.value if isinstance(node, MappingNode) else ():
        if key.value == name:
            start = int(value.start_mark.index)
            return start, start + len(source[start : max(start, _end(value))].rstrip())
    return None


def _root(source: str) -> MappingNode:
    root = compose(source)
    if root is None or root.flow_style:
        raise HalfsplitError("the file cannot be read as it stands; put that right first")
    return root


def _newline(source: str) -> str:
    return "\r\n" if "\r\n" in source else "\n"


def _gap(key: Node, value: Node) -> int:
    """Column the braces of the neighbour above begin at, to stand below them; 0 for none."""
    same = key.start_mark.line == value.start_mark.line
    return int(value.start_mark.column) if same and isinstance(value, MappingNode) else 0


def _lines(entries: Mapping[str, Mapping[str, Any]], lead: str, newline: str, gap: int) -> str:
    made = []
    for name, entry in entries.items():
        head = f"{lead}{value_text(name)}: "
        made.append(f"{head:{gap}}{written(entry)}{newline}")
    return "".join(made)


def _new_section(
    source: str, root: MappingNode, section: str, entries: Mapping[str, Mapping[str, Any]]
) -> str:
    newline = _newline(source)
    body = f"{section}:{newline}" + _lines(entries, "  ", newline, 0)
    later = ORDER[ORDER.index(section) + 1 :] if section in ORDER else ()
    for key, _ in root.value:
        if key.value in later:
            at = _above(source, int(key.start_mark.index))
            return source[:at] + body + newline + source[at:]
    start = "" if source.endswith(("\n", "\r")) or not source else newline
    return source + start + newline + body


def _above(source: str, index: int) -> int:
    """Start of the comment lines right above a line."""
    at = index
    while at > 0:
        before = source.rfind("\n", 0, at - 1) + 1
        if not source[before:at].lstrip().startswith("#"):
            break
        at = before
    return at


def _changed(source: str, node: Node, entry: Mapping[str, Any], newline: str) -> list[Edit]:
    """What makes an entry say something else."""
    if not isinstance(node, MappingNode) or not node.value:
        start, end = int(node.start_mark.index), int(node.end_mark.index)
        return [(start, end, written(entry) if start < end else f" {written(entry)}")]
    there = {k.value: (at, k, v) for at, (k, v) in enumerate(node.value)}
    kept = [name for name in there if name in entry]
    if not kept:  # nothing of it stays, and an entry emptied field by field would be none
        return [(int(node.start_mark.index), int(node.end_mark.index), written(entry))]
    edits: list[Edit] = []
    for name, (at, key, value) in there.items():
        if name not in entry:
            edits.append(_gone(source, node, at, key, value, entry.__contains__))
        elif isinstance(entry[name], Mapping) and isinstance(value, MappingNode):
            edits += _changed(source, value, entry[name], newline)
        elif not (isinstance(value, ScalarNode) and value.value == _plain(entry[name])):
            start, end = int(value.start_mark.index), int(value.end_mark.index)
            text = value_text(entry[name])
            edits.append((start, end, text if start < end else f" {text}"))
    fresh = {k: v for k, v in entry.items() if k not in there}
    if fresh and node.flow_style:
        at = len(source[: int(node.end_mark.index) - 1].rstrip().rstrip(","))
        listed = "".join(f", {k}: {value_text(v)}" for k, v in fresh.items())
        edits.append((at, at, listed))
    elif fresh:
        first = node.value[0][0].start_mark
        line = source.rfind("\n", 0, int(first.index)) + 1
        lead = " " * int(first.column)
        body = "".join(f"{lead}{k}: {value_text(v)}{newline}" for k, v in fresh.items())
        edits.append((line, line, body))
    return edits


def _plain(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _gone(
    source: str,
    node: MappingNode,
    at: int,
    key: Node,
    value: Node,
    stays: Callable[[str], bool],
) -> Edit:
    """What takes one pair out of a mapping of which the others that stay are told."""
    if not node.flow_style:
        start = source.rfind("\n", 0, int(key.start_mark.index)) + 1
        return start, line_end(source, max(_end(value), int(key.end_mark.index))), ""
    rest = [k for k, (pair, _) in enumerate(node.value) if stays(pair.value)]
    after = [k for k in rest if k > at]
    before = [k for k in rest if k < at]
    if after:
        return int(key.start_mark.index), int(node.value[at + 1][0].start_mark.index), ""
    if before:
        return int(node.value[before[-1]][1].end_mark.index), int(value.end_mark.index), ""
    return int(key.start_mark.index), int(value.end_mark.index), ""


def _end(node: Node) -> int:
    """Where a node's own text ends: a block's end mark stands behind the comments below it."""
    while isinstance(node, (MappingNode, SequenceNode)) and not node.flow_style and node.value:
        last = node.value[-1]
        node = last[1] if isinstance(node, MappingNode) else last
    return int(node.end_mark.index)


def _applied(source: str, edits: list[Edit]) -> str:
    """Edits made from the end on; of those at one place the first listed comes first."""
    edits = [e for _, e in sorted(enumerate(edits), key=lambda p: (p[1][0], p[1][1], p[0]))]
    # Fields taken out one after the other may meet: what one took the next does not take again.
    done, upto = [], 0
    for start, end, text in edits:
        start = max(start, upto) if not text else start
        done.append((start, max(end, start), text))
        upto = max(upto, end)
    for start, end, text in reversed(done):
        source = source[:start] + text + source[end:]
    return source
