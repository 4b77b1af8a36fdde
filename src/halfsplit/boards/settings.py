"""Settings of every board: from strap positions to what they mean, and back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from halfsplit.boards.conflicts import Conflict, answers, conflicts
from halfsplit.boards.model import Rack, Setting

# BOARD.setting -> choice, or None where it is not known.
Choices = Mapping[str, str | None]
# (board, strap) -> position.
Positions = Mapping[tuple[str, str], str]
# More straps to move at once than this is not a slip but another configuration; searching further
# would also take long.
MOST_CHANGES = 4


@dataclass(frozen=True)
class Move:
    """One strap to move. `was` is None when its present position was never recorded."""

    board: str
    strap: str
    was: str | None
    to: str

    def words(self) -> str:
        """As told to a person at the board."""
        if self.was is None:
            return f"{self.board} {self.strap}: must be {self.to} (not recorded yet)"
        return f"{self.board} {self.strap}: {self.was} → {self.to}"


@dataclass(frozen=True)
class Plan:
    """Choices for every setting, and what still disagrees.

    `changed`: settings whose choice differs from the present one, or whose present one is not
    known. `others`: further answers with as few changes, each as the settings it would change.
    """

    choices: Mapping[str, str]
    changed: tuple[str, ...]
    conflicts: tuple[Conflict, ...]
    others: tuple[tuple[str, ...], ...]


def meaning(setting: Setting, board: str, positions: Positions) -> str | None:
    """The choice the recorded positions make, or None when some are unknown or mean nothing."""
    now = tuple(positions.get((board, strap), "") for strap in setting.of)
    return next((c for c, p in setting.table().items() if p == now), None)


def read_choices(rack: Rack, positions: Positions) -> dict[str, str | None]:
    """What every setting is at; None where none of its straps is recorded or they mean nothing.

    Where only some are recorded, the others are taken to stand as the maker delivered them.
    """
    found = {}
    for name, setting in rack.settings().items():
        board = name.partition(".")[0]
        delivered = zip(setting.of, setting.table()[usual(setting)], strict=True)
        guessed = {(board, s): positions.get((board, s), p) for s, p in delivered}
        known = any((board, s) in positions for s in setting.of)
        found[name] = meaning(setting, board, guessed) if known else None
    return found


def meaningless(rack: Rack, positions: Positions) -> list[Conflict]:
    """Settings all of whose straps are recorded, at positions the paper gives no meaning."""
    found = []
    for name, setting in rack.settings().items():
        board = name.partition(".")[0]
        now = [positions.get((board, s)) for s in setting.of]
        if all(now) and meaning(setting, board, positions) is None:
            words = ", ".join(f"{s} {p}" for s, p in zip(setting.of, now, strict=True))
            found.append(Conflict("no meaning", f"{name}: {words} stands for no choice", (name,)))
    return found


def usual(setting: Setting) -> str:
    """Choice the maker delivered, else the first."""
    return setting.usual if setting.usual is not None else next(iter(setting.table()))


def filled(rack: Rack, choices: Choices) -> dict[str, str]:
    """`choices` with the usual one wherever nothing is known."""
    known = rack.settings()
    return {n: choices.get(n) or usual(s) for n, s in known.items()}


def matters(rack: Rack) -> list[str]:
    """Settings that addresses, rules or fitted parts depend on: those worth changing to agree."""
    found: dict[str, None] = {}
    for name, board in rack.boards.items():
        for space in board.spaces.values():
            if space.setting:
                found[f"{name}.{space.setting}"] = None
        for window in board.windows.values():
            for key in (*([window.setting] if window.setting else []), *window.when):
                found[f"{name}.{key}"] = None
        for key, setting in board.settings.items():
            if setting.fitted:
                found[f"{name}.{key}"] = None
    for rule in rack.rules.values():
        found.update(dict.fromkeys((*rule.among, *rule.when, *rule.then)))
    return list(found)


def solve(
    rack: Rack,
    now: Choices,
    wanted: Mapping[str, str],
    memory: tuple[int, int] | None = None,
) -> Plan:
    """The choices that give what is wanted with the fewest settings changed and nothing at odds.

    `now`: present choices, None where unknown (taken as the usual one). `wanted`: choices that are
    not negotiable. `memory`: addresses that memory must fill. When no change of up to
    MOST_CHANGES settings settles everything, the one that leaves least is given with the rest.
    """
    start = {**filled(rack, now), **wanted}
    free = [n for n in matters(rack) if n not in wanted]
    best = start
    least = conflicts(rack, start, memory)
    others: list[tuple[str, ...]] = []
    for size in range(1, MOST_CHANGES + 1):
        if not least:
            break
        solved: list[dict[str, str]] = []
        for names, trial in _changes(rack, start, free, size):
            left = conflicts(rack, trial, memory)
            if len(left) < len(least):
                best, least = trial, left
            if not left:
                solved.append(trial)
                others.append(names)
        if solved:
            best, others = solved[0], others[1:]
            break
    changed = tuple(n for n, c in best.items() if now.get(n) != c)
    return Plan(best, changed, tuple(least), tuple(dict.fromkeys(others)))


def _changes(
    rack: Rack, start: Mapping[str, str], free: Sequence[str], size: int
) -> Iterator[tuple[tuple[str, ...], dict[str, str]]]:
    known = rack.settings()
    for names in combinations(free, size):
        rest = [[c for c in known[n].table() if c != start[n]] for n in names]
        for picks in product(*rest):
            yield names, {**start, **dict(zip(names, picks, strict=True))}


def moves(rack: Rack, positions: Positions, chosen: Mapping[str, str]) -> tuple[Move, ...]:
    """Straps that are not, or are not known to be, where `chosen` wants them."""
    found = []
    for name, setting in rack.settings().items():
        board = name.partition(".")[0]
        for strap, to in zip(setting.of, setting.table()[chosen[name]], strict=True):
            was = positions.get((board, strap))
            if was != to:
                found.append(Move(board, strap, was, to))
    return tuple(found)


@dataclass(frozen=True)
class Blame:
    """A setting that can be behind memory that does not answer.

    `puts_back`: changing it alone makes the addresses answer. `was`, `to`: choices.
    """

    setting: str
    was: str | None
    to: str
    puts_back: bool
    why: str


def why_absent(rack: Rack, now: Choices, first: int, last: int) -> list[Blame]:
    """Settings to look at when addresses `first`..`last` do not answer, likeliest first.

    First those whose change alone makes them answer; then those that are at odds with another
    board anyway; then, where nothing was recorded, those that could be set so.
    """
    base = filled(rack, now)
    known = rack.settings()
    found: list[Blame] = []
    shut = not answers(rack, base, first, last)
    for name in matters(rack):
        for choice in known[name].table():
            if choice == base[name]:
                continue
            trial = {**base, name: choice}
            if shut and now.get(name) is not None and answers(rack, trial, first, last):
                why = "as recorded, no board answers there; so set, one does"
                found.append(Blame(name, base[name], choice, True, why))
                break
            if now.get(name) is None and not shut and not answers(rack, trial, first, last):
                why = f"not recorded; at {choice} no board would answer there"
                found.append(Blame(name, None, base[name], False, why))
                break
    done = {b.setting for b in found}
    seen = {n for c in conflicts(rack, base, None) for n in c.settings}
    for name in matters(rack):
        if name in done or name not in seen or now.get(name) is None:
            continue
        before = conflicts(rack, base, None)
        gains = [
            (len(conflicts(rack, {**base, **_mended(base, found), name: c}, None)), c)
            for c in known[name].table()
            if c != base[name]
        ]
        if not gains:
            continue
        left, choice = min(gains, key=lambda g: g[0])
        if left < len(conflicts(rack, {**base, **_mended(base, found)}, None)):
            why = "; ".join(c.words for c in before if name in c.settings)
            found.append(Blame(name, base[name], choice, False, why))
    return found


def _mended(base: Mapping[str, str], found: Sequence[Blame]) -> dict[str, str]:
    """`base` with the first setting that puts the addresses back, put right."""
    first = next((b for b in found if b.puts_back), None)
    return {} if first is None else {first.setting: first.to}
