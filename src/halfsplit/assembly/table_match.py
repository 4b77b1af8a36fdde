"""What each column of a table is: told by its heading, else by what is in it, or by the user."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from halfsplit.assembly.designator import ASK, KINDS, letters
from halfsplit.assembly.table import Table
from halfsplit.parts import catalogue
from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY
from halfsplit.problems import Problem, ProblemsError

assert _kinds  # importing it fills the registry
REF, WORDS, NETS, SKIP = "reference", "words", "nets", "leave out"
MOST_NETS = 9
# Headings people write, small letters and nothing but letters and digits, and what they mean.
# Common practice, no published source; English and a few of the German of many old parts lists.
HEADINGS: dict[str, str] = {
    **dict.fromkeys(("ref", "refs", "references", "refdes", "designator", "designation"), REF),
    **dict.fromkeys(("part", "symbol", "pos", "position", "item", "bauteil", "name", "id"), REF),
    **dict.fromkeys(("val", "wert", "value", "nominal"), "value"),
    **dict.fromkeys(("type", "typ", "parttype", "device", "partnumber", "partno", "model"), "type"),
    **dict.fromkeys(("kind", "art", "component", "class", "category"), "kind"),
    **dict.fromkeys(("description", "words", "details", "beschreibung"), WORDS),
    **dict.fromkeys(("tol", "tolerance", "toleranz"), "tolerance"),
    **dict.fromkeys(("power", "watts", "rating", "watt", "wattage", "leistung"), "power"),
    **dict.fromkeys(("volts", "voltage", "volt", "spannung", "vrating"), "volts"),
    **dict.fromkeys(("amps", "current", "ampere", "strom"), "amps"),
    **dict.fromkeys(("note", "notes", "remark", "remarks", "comment", "bemerkung"), "note"),
    **dict.fromkeys(("page", "sheet", "zone", "blatt"), "page"),
    **dict.fromkeys(("nets", "nodes", "connections", "pins", "netze"), NETS),
    **dict.fromkeys(("qty", "quantity", "count", "menge", "price", "supplier", "order"), SKIP),
    **{t: s for s, t in (("c", "collector"), ("b", "base"), ("e", "emitter"), ("a", "anode"))},
    **{t: s for s, t in (("k", "cathode"), ("g", "gate"), ("in", "input"), ("out", "output"))},
    **dict.fromkeys(("neta", "netfrom", "from", "von"), "net 1"),
    **dict.fromkeys(("netb", "netto", "to", "nach"), "net 2"),
    **dict.fromkeys(("plus", "positive"), "pos"),
    **dict.fromkeys(("minus", "negative"), "neg"),
}
_NUMBERED = re.compile(r"(?:net|pin|node|terminal|end|netz|anschluss|lead)(\d)")
_REFERENCE = re.compile(r"[A-Za-z]{1,4}\d+[A-Za-z]?")
_MOSTLY = 0.7  # of a column's cells that must look alike for the column to be told by them


@dataclass(frozen=True)
class Matching:
    """Whether the first row is headings, and the meaning of every column.

    A meaning is `reference`, `words`, `nets`, `net 1` … `net 9` by the order of a part's terminals,
    `leave out`, or a field of a part by its name (``windings.s1.start`` of one inside it).
    """

    header: bool
    columns: tuple[str, ...]


def fields() -> list[str]:
    """Every field some kind of part has, as a column may be called."""
    found: dict[str, None] = dict.fromkeys(("kind", "type", "value"))
    for kind in REGISTRY.kinds.values():
        for name, info in kind.model_fields.items():
            if name not in ("ref", "windings"):
                found[info.alias or name.rstrip("_")] = None
    return list(found)


def meanings() -> list[str]:
    """Everything a column may mean."""
    nets = [f"net {k}" for k in range(1, MOST_NETS + 1)]
    return [SKIP, REF, WORDS, NETS, *nets, *fields()]


def allowed(meaning: str) -> bool:
    """Whether a column may mean this."""
    return meaning in meanings() or bool(re.fullmatch(r"windings\.[^.\s]+\.\w+", meaning))


def guess(table: Table, header: bool | None = None) -> Matching:
    """What the columns likely are; `header` says whether the first row is headings, None asks."""
    if header is None:
        header = _has_header(table.rows)
    body = table.rows[1:] if header else table.rows
    found: list[str] = []
    for k in range(table.width):
        told = _by_heading(table.rows[0][k]) if header else ""
        found.append(told if told and (told not in found) else SKIP if told else "")
    contents = [[r[k] for r in body if r[k]] for k in range(table.width)]
    for k, cells in enumerate(contents):
        if not found[k]:
            told = _by_content(cells, found)
            # Under a heading that means nothing known, figures may be anything.
            found[k] = "" if told == WORDS and header and table.rows[0][k] else told
    net = 1
    for k, cells in enumerate(contents):
        if found[k]:
            continue
        one_word = cells and all(len(c.split()) == 1 for c in cells)
        if not header and one_word and REF in found[:k] and net <= MOST_NETS:
            found[k] = f"net {net}"
            net += 1
        else:
            found[k] = SKIP
    return Matching(header, tuple(found))


def checked(matching: Matching, table: Table) -> None:
    """Refuse a matching no table can be read by. Raises ProblemsError with all of it."""
    problems = []

    def wrong(what: str, instead: str) -> None:
        problems.append(Problem("", 0, 0, "", what, instead))

    if len(matching.columns) != table.width:
        wrong(f"{len(matching.columns)} columns are told of {table.width}", "one for each column")
    for column in dict.fromkeys(matching.columns):
        if not allowed(column):
            wrong(f"a column cannot be “{column}”", "a field of a part, reference, words or nets")
        elif column != SKIP and matching.columns.count(column) > 1:
            wrong(f"two columns are “{column}”", "one of them left out, or another field")
    if matching.columns.count(REF) == 0:
        wrong("no column has the references", "which one it is: R1, C4, Q2 and so on")
    if matching.header and len(table.rows) == 1:
        wrong("there is no row below the headings", "the parts")
    if problems:
        raise ProblemsError(problems)


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def _by_heading(text: str) -> str:
    exact = text.strip()
    if exact in (REF, WORDS, NETS) or (exact and allowed(exact)):
        return exact
    plain = _plain(text)
    numbered = _NUMBERED.fullmatch(plain)
    if numbered and numbered[1] != "0":
        return f"net {numbered[1]}"
    return HEADINGS.get(plain) or (plain if plain in fields() else "")


def _has_header(rows: Sequence[Sequence[str]]) -> bool:
    """Whether the first row is headings: told by the column of references below it."""
    first, body = rows[0], rows[1:]
    if REF in first:
        return True
    for k, cell in enumerate(first):
        cells = [r[k] for r in body if r[k]]
        if cells and sum(map(_is_reference, cells)) >= _MOSTLY * len(cells):
            return not _is_reference(cell)
    return not any(map(_is_reference, first)) and any(_by_heading(c) for c in first)


def _is_reference(cell: str) -> bool:
    return bool(_REFERENCE.fullmatch(cell)) and _known(cell)


def _known(ref: str) -> bool:
    return letters(ref) in KINDS or letters(ref) in ASK


def _by_content(cells: Sequence[str], found: Sequence[str]) -> str:
    """Meaning of a column without a heading, where its cells tell."""
    if not cells:
        return SKIP

    def mostly(count: int) -> bool:
        return count >= _MOSTLY * len(cells)

    if REF not in found:
        return REF if mostly(sum(map(_is_reference, cells))) else ""
    if "kind" not in found and mostly(sum(c in REGISTRY.kinds for c in cells)):
        return "kind"
    if WORDS not in found:
        types = sum(catalogue.load().get(c) is not None for c in cells)
        values = sum(bool(re.match(r"[±+-]?\d|R\d", c)) for c in cells)
        if mostly(types + values):
            return WORDS
    return ""
