"""Whatever happens to a file on its way to the bench, loading it gives a list of problems."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from halfsplit.assembly.file import load
from halfsplit.problems import Problem

TRAY = (Path(__file__).parents[2] / "examples/hd40/pt3.yaml").read_bytes()
LINES = TRAY.splitlines(keepends=True)
# Parsing YAML is slow, so most mutations work on a shortened tray of every section.
SHORT = b"".join([*LINES[:12], *LINES[16:35], *LINES[LINES.index(b"rails:\n") :]])
PIECES = [
    *b"{}[]:,#-&*!|>'\"%@`\t\r\n ?~<.",
    *(ord(c) for c in "0aRkµ"[:4]),
]
WORDS = [b"null", b"true", b"{}", b"[]", b"&x ", b"*x", b"<<: ", b"1e999", b"-0", b"0x1F", b"...",
         b"---", b"\xc2\xb5", b"\xff", b"\x00", b"\xe2\x80\xa8", b"!!python/x ", b"!!set ", b"? ",
         b"!!timestamp 0 ", b"2001-01-01", b"12:30:00", b"\xef\xbb\xbf", b"|\n", b"%YAML 9.9\n",
         b"!!omap ", b"!!binary ", b"!!float x", b"!!int ", b"!!map ", b"\\",
         b"\"\\xZZ\""]  # fmt: skip


def _problems(content: bytes) -> list[Problem]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.yaml"
        path.write_bytes(content)
        assembly, problems = load(path)
    assert isinstance(problems, list)
    assert all(isinstance(p, Problem) for p in problems)
    assert (assembly is None) == any(p.severity == "error" for p in problems)
    rows = content.count(b"\n") + content.count(b"\r") + 2
    for p in problems:
        assert p.wrong and len(str(p)) < 2000, str(p)[:300]
        # U+0085, U+2028 and U+2029 end a line for the YAML reader too.
        assert 1 <= p.line <= rows + content.count(b"\xc2\x85") + content.count(b"\xe2\x80"), p
    return problems


places = st.integers(0, len(SHORT) - 1)
byte_edits = st.lists(
    st.tuples(
        places,
        st.integers(0, 3),
        st.one_of(
            st.sampled_from(PIECES).map(lambda b: bytes([b])),
            st.sampled_from(WORDS),
            st.binary(min_size=0, max_size=3),
        ),
    ),
    min_size=1,
    max_size=4,
)


def test_the_short_tray_has_every_kind_of_entry() -> None:
    assert _problems(TRAY) == []
    assert all(b"\n" + s in SHORT for s in (b"parts:", b"rails:", b"feeds:", b"loads:", b"points:"))
    assert not any("YAML" in p.wrong for p in _problems(SHORT))


@settings(max_examples=150, deadline=None)
@given(byte_edits)
@example([(1200, 0, b"&x "), (0, 0, b"&x ")])  # an anchor given twice
def test_damaged_bytes(edits: list[tuple[int, int, bytes]]) -> None:
    content = bytearray(SHORT)
    for place, taken, put in edits:
        content[place : place + taken] = put
    _problems(bytes(content))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, len(SHORT.splitlines()) - 1), min_size=1, max_size=4),
    st.sampled_from(["lose", "twice", "swap", "indent", "outdent", "tab", "cut"]),
)
def test_damaged_lines(rows: list[int], how: str) -> None:
    lines = SHORT.splitlines(keepends=True)
    for row in rows:
        row = min(row, len(lines) - 1)
        line = lines[row]
        if how == "lose":
            lines[row] = b""
        elif how == "twice":
            lines[row] = line * 2
        elif how == "swap":
            lines[row], lines[row - 1] = lines[row - 1], line
        elif how == "cut":
            lines[row] = line[: len(line) // 2]
        else:
            lines[row] = {"indent": b"  " + line, "outdent": line.lstrip(), "tab": b"\t" + line}[
                how
            ]
    _problems(b"".join(lines))


names = st.one_of(st.sampled_from(["kind", "value", "a", "b", "parts", "R1", "net", "nets", "type",
                                   "windings", "limits", "x"]), st.text(max_size=6))  # fmt: skip
leaves = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["resistor", "transformer", "load", "4k7", "12V", "com", "2N3055", "7805"]),
)
trees = st.recursive(
    leaves,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(names, inner, max_size=4)),
    max_leaves=8,
)
sections = st.sampled_from(["assembly", "machine", "common", "mains", "parts", "rails", "loads",
                            "feeds", "points", "notes", "other"])  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(sections, st.one_of(trees, st.dictionaries(names, trees, max_size=3))))
def test_any_shape_of_data(data: dict[str, object]) -> None:
    import json

    _problems(json.dumps(data, ensure_ascii=True).encode())
