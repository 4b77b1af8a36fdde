"""Whether the settings of several boards agree: addresses, widths, fitted parts, rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from halfsplit.boards.model import Rack
from halfsplit.boards.numbers import show_number


@dataclass(frozen=True)
class Conflict:
    """Two settings, or a setting and a fact, that cannot both be right.

    Attributes
    ----------
    kind: overlap, duplicate address, gap, beyond the map, width, not fitted, rule, no meaning.
    settings: BOARD.setting names that take part.
    """

    kind: str
    words: str
    settings: tuple[str, ...]


@dataclass(frozen=True)
class Placed:
    """A window where it lies under given choices; `last` is included."""

    board: str
    window: str
    space: str
    first: int
    last: int
    bits: int | None
    settings: tuple[str, ...]

    @property
    def name(self) -> str:
        """Board and window."""
        return f"{self.board} {self.window}"


def placed(rack: Rack, choices: Mapping[str, str]) -> list[Placed]:
    """Every window that is switched in, by address."""
    found = []
    for name, board in rack.boards.items():
        for key, window in board.windows.items():
            if any(choices[f"{name}.{s}"] != c for s, c in window.when.items()):
                continue
            start = window.start or 0
            uses = [f"{name}.{s}" for s in window.when]
            if window.setting is not None:
                setting = f"{name}.{window.setting}"
                start = int(choices[setting]) * (window.step or 0)
                uses.insert(0, setting)
            first = start + window.offset
            last = first + window.words - 1
            found.append(Placed(name, key, window.space, first, last, window.bits, tuple(uses)))
    return sorted(found, key=lambda p: (p.space, p.first))


def reach(rack: Rack, choices: Mapping[str, str]) -> dict[str, tuple[int, bool, str | None]]:
    """Space -> address bits the processor board has in it, whether it must be full, setting."""
    found = {}
    for name, board in rack.boards.items():
        for key, space in board.spaces.items():
            setting = f"{name}.{space.setting}" if space.setting else None
            bits = space.choices.get(choices[setting]) if setting else space.bits
            if bits is not None:
                found[key] = (bits, space.full, setting)
    return found


def holes(windows: list[Placed], first: int, last: int) -> list[tuple[int, int]]:
    """Stretches of first..last that no window covers."""
    found = []
    at = first
    for w in sorted(windows, key=lambda p: p.first):
        if w.first > at:
            found.append((at, min(w.first - 1, last)))
        at = max(at, w.last + 1)
        if at > last:
            break
    if at <= last:
        found.append((at, last))
    return [(a, b) for a, b in found if a <= b]


def answers(rack: Rack, choices: Mapping[str, str], first: int, last: int) -> bool:
    """Whether memory answers at every address of first..last, within the processor's map."""
    space = reach(rack, choices).get("memory")
    if space is not None and last >= 1 << space[0]:
        return False
    return not holes([w for w in placed(rack, choices) if w.space == "memory"], first, last)


def conflicts(
    rack: Rack, choices: Mapping[str, str], memory: tuple[int, int] | None = None
) -> list[Conflict]:
    """Everything that cannot be right together. `memory`: addresses memory is wanted to fill."""
    windows = placed(rack, choices)
    spaces = reach(rack, choices)
    found = _overlaps(rack, windows, spaces)
    for w in windows:
        bits, _, setting = spaces.get(w.space, (rack.width, False, None))
        if w.last >= 1 << bits:
            words = f"{w.name} at {_span(rack, w.first, w.last)} lies beyond the {bits}-bit map"
            uses = (*w.settings, *([setting] if setting else []))
            found.append(Conflict("beyond the map", words, uses))
        if w.space == "memory" and w.bits is not None and w.bits != rack.word:
            words = f"{w.name} has {w.bits} data bits, the machine {rack.word}"
            found.append(Conflict("width", words, w.settings))
    found += _gaps(rack, windows, spaces, memory)
    for name, entry in rack.settings().items():
        needs = entry.fitted.get(choices[name])
        board = name.partition(".")[0]
        if needs is not None and needs not in rack.boards[board].fits:
            words = f"{name} is {choices[name]}, but {needs} is not fitted on {board}"
            found.append(Conflict("not fitted", words, (name,)))
    return found + _rules(rack, choices)


def _span(rack: Rack, first: int, last: int) -> str:
    def show(value: int) -> str:
        return show_number(value, rack.numbers, rack.width)

    return f"{show(first)}..{show(last)}"


def _overlaps(
    rack: Rack, windows: list[Placed], spaces: Mapping[str, tuple[int, bool, str | None]]
) -> list[Conflict]:
    found = []
    for i, a in enumerate(windows):
        for b in windows[i + 1 :]:
            if a.space != b.space or b.first > a.last or a.board == b.board:
                continue
            uses = (*a.settings, *b.settings)
            if a.space != "memory":
                words = f"{a.name} and {b.name} both answer at {a.space} address "
                words += show_number(
                    max(a.first, b.first), rack.numbers, spaces.get(a.space, (8,))[0]
                )
                found.append(Conflict("duplicate address", words, uses))
            else:
                both = _span(rack, max(a.first, b.first), min(a.last, b.last))
                found.append(Conflict("overlap", f"{a.name} and {b.name} overlap at {both}", uses))
    return found


def _gaps(
    rack: Rack,
    windows: list[Placed],
    spaces: Mapping[str, tuple[int, bool, str | None]],
    memory: tuple[int, int] | None,
) -> list[Conflict]:
    found = []
    for space, (bits, full, setting) in spaces.items():
        if not full:
            continue
        mine = [w for w in windows if w.space == space]
        uses = tuple(
            dict.fromkeys([*([setting] if setting else []), *(s for w in mine for s in w.settings)])
        )
        for first, last in holes(mine, 0, (1 << bits) - 1):
            words = f"nothing answers at {_span(rack, first, last)} of the {bits}-bit map"
            found.append(Conflict("gap", words, uses))
    if memory is not None:
        mine = [w for w in windows if w.space == "memory"]
        uses = tuple(dict.fromkeys(s for w in mine for s in w.settings))
        for first, last in holes(mine, *memory):
            words = f"memory is wanted at {_span(rack, first, last)} and is not there"
            found.append(Conflict("gap", words, uses))
        bits = spaces.get("memory", (rack.width, False, None))[0]
        if memory[1] >= 1 << bits:
            words = f"memory is wanted to {_span(rack, *memory)}, beyond the {bits}-bit map"
            found.append(Conflict("beyond the map", words, uses))
    return found


def _rules(rack: Rack, choices: Mapping[str, str]) -> list[Conflict]:
    found = []
    for rule in rack.rules.values():
        if rule.exactly is not None:
            count = sum(choices[n] == c for n, c in rule.among.items())
            if count != rule.exactly:
                listed = ", ".join(f"{n} {choices[n]}" for n in rule.among)
                words = f"{rule.why}: now {count} instead of {rule.exactly} ({listed})"
                found.append(Conflict("rule", words, tuple(rule.among)))
        if all(choices[n] == c for n, c in rule.when.items()):
            bad = [n for n, c in rule.then.items() if choices[n] != c]
            if bad:
                listed = ", ".join(f"{n} is {choices[n]}" for n in (*rule.when, *bad))
                found.append(Conflict("rule", f"{rule.why}: {listed}", (*rule.when, *bad)))
    return found
