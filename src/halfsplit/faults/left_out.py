"""Parts of the drawing that are not in the file, and references typed for others.

Which is missing the numbering of the drawing tells; where it belongs, nets that lack a partner and
the solved circuit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, permutations

from halfsplit.assembly.model import Assembly
from halfsplit.assembly.printed import gaps, numbered
from halfsplit.faults.slip_values import tidy, value_field, worded
from halfsplit.faults.slips import (
    SHARES,
    SYMMETRIC,
    Edit,
    Slip,
    elements_of,
    terminals_of,
    wired,
)
from halfsplit.parts.base import Part

MISNUMBERED = 0.02
# Values a resistor that was left out is first tried at [ohm], one a decade.
FIRST = (3.3, 33.0, 330.0, 3.3e3, 33e3, 330e3)
PLACED = 0.5  # share of the odds of a part left out that its places share; the rest: place unknown
MOST = 4000  # places of one part tried


def missing(assembly: Assembly) -> list[str]:
    """References the numbering of the drawing has and the file has not."""
    return list(gaps(assembly.numbering, assembly.parts).missing)


def unplaced(assembly: Assembly) -> Iterator[Slip]:
    """Each part left out, wherever it belongs; and references that are another's."""
    found = gaps(assembly.numbering, assembly.parts)
    for ref in found.missing:
        share = SHARES["left out"] / len(found.missing)
        yield Slip(
            "left out", f"{ref} left out", "", ref, (), share * (1.0 - PLACED), ref, words=""
        )
        for extra in found.extra:
            old, new = numbered(extra), numbered(ref)
            if old is not None and new is not None and old[0] == new[0]:
                edits = (Edit("rename", extra, ref),)
                yield Slip("reference", f"{extra} {ref}", extra, ref, edits, MISNUMBERED, extra)


def templates(assembly: Assembly, ref: str) -> list[Part]:
    """Parts like one left out: the nearest by number of each kind with the same letters."""
    mine = numbered(ref)
    found: dict[str, tuple[int, Part]] = {}
    for other, part in assembly.parts.items():
        name = numbered(other)
        if mine is None or name is None or name[0] != mine[0]:
            continue
        off = abs(name[1] - mine[1])
        if part.KIND not in found or off < found[part.KIND][0]:
            found[part.KIND] = (off, part)
    return [p.model_copy(update={"ref": ref, "note": None}) for _, p in found.values()]


def placed(
    assembly: Assembly, ref: str, nets: Sequence[str], lonely: Sequence[str], single: bool
) -> Iterator[Slip]:
    """A part left out, at every place it may belong; with `lonely` nets at least on one of them.

    `single` says that its numbering is certain; nets are those of one view.
    """
    share = SHARES["left out"] * PLACED / (1 if single else 4)
    listed = list(nets)
    made: list[Part] = []
    for template in templates(assembly, ref):
        names = list(terminals_of(template))
        if len(names) == 2:
            pairs = list(combinations(listed, 2))
            if template.KIND not in SYMMETRIC:
                pairs += [(b, a) for a, b in pairs]
            chosen = [dict(zip(names, p, strict=True)) for p in pairs]
        elif len(names) == 3 and lonely:
            chosen = [
                dict(zip(names, p, strict=True))
                for p in permutations(listed, 3)
                if not set(p).isdisjoint(lonely)
            ]
        else:
            continue
        if lonely:
            best = min(len(lonely), len(names))
            counted = [(len(set(c.values()) & set(lonely)), c) for c in chosen]
            most = max((n for n, _ in counted), default=0)
            chosen = [c for n, c in counted if n >= min(best, most)]
        sizes = FIRST if template.KIND == "resistor" else (None,)
        for where in chosen[: MOST // len(sizes)]:
            for value in sizes:
                part = wired(template, where)
                made.append(part if value is None else part.model_copy(update={"value": value}))
    for part in made:
        yield _slip(assembly, part, share / len(made))


def _slip(assembly: Assembly, part: Part, prior: float) -> Slip:
    nets = terminals_of(part)
    where = ", ".join(f"{t} {n}" for t, n in nets.items())
    field = value_field(part.KIND)
    number = None if field is None else part.__dict__[field.key]
    value = f" {worded(float(number), field)}" if field is not None and number else ""
    said = {field.key: value.strip()} if field is not None and value else {}
    after = _before(assembly, part.ref)
    edit = Edit("insert", part.ref, _line(part, said, nets), after)
    return Slip(
        "left out",
        f"{part.ref} left out",
        "",
        f"{part.KIND}{value}, {where}",
        (edit,),
        prior,
        part.ref,
        part,
        elements_of(part, assembly.common),
        where,
    )


def sized(assembly: Assembly, slip: Slip) -> Iterator[Slip]:
    """A resistor left out at one place, at every preferred value near the one tried."""
    if slip.sort != "left out" or slip.part is None or slip.part.KIND != "resistor":
        return
    value = float(slip.part.__dict__["value"])
    for k in range(-14, 15):
        other = tidy(value * 10.0 ** (k / 24.0))
        part = slip.part.model_copy(update={"value": other})
        yield replace(_slip(assembly, part, slip.prior), prior=slip.prior)


def _line(part: Part, value: dict[str, str], nets: dict[str, str]) -> str:
    """The entry of a part as typed: what of its likes is not known to hold is left away."""
    said = {"type": part.type} if part.type else {"kind": part.KIND}
    if not part.type:
        said |= {k: v.replace("µ", "u") for k, v in value.items()}
    said |= nets
    return "{" + ", ".join(f"{k}: {_quoted(str(v))}" for k, v in said.items()) + "}"


def _quoted(text: str) -> str:
    return f'"{text}"' if text.replace(".", "").isdigit() else text


def _before(assembly: Assembly, ref: str) -> str:
    """The reference after which a part belongs: the next lower number of its letters."""
    mine = numbered(ref)
    lower = [
        (n[1], r)
        for r in assembly.parts
        if (n := numbered(r)) is not None and mine is not None and n[0] == mine[0] and n < mine
    ]
    return max(lower)[1] if lower else ""
