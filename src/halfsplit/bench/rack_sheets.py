"""Sheets for a rack: the order of its boards, their settings, what a memory print means."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from typing import Any

from halfsplit.assembly.file import near
from halfsplit.bench.racks import RackBench
from halfsplit.bench.slots import range_dict
from halfsplit.boards.conflicts import conflicts
from halfsplit.boards.memory import Ranking, rank
from halfsplit.boards.memory_log import Log, read_log
from halfsplit.boards.memory_words import HANDLING, advise, in_rows, march_rows, told
from halfsplit.boards.model import Board, Rack, span
from halfsplit.boards.numbers import show_number
from halfsplit.boards.order import budget
from halfsplit.boards.picture import rows, svg_picture, text_picture
from halfsplit.boards.settings import (
    filled,
    meaningless,
    moves,
    read_choices,
    solve,
    why_absent,
)
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError

# What a hand at the slots must know; common practice, no published source.
BEFORE_ANY = (
    "Power off, and the rails measured below 0.5 V, before a board moves; never plug a board live. "
    "Check key, orientation and slot. Wrist strap on, through 1 MΩ."
)


def order_sheet(bench: RackBench) -> dict[str, Any]:
    """Every board's turn with its limits and readings, whose turn it is, what is owed first."""
    state = bench.state()
    turn = bench.next_board()
    stops = [
        f"STOP: {b} {r}: {s['says'].removeprefix('STOP: ')}"
        for (b, r, _), s in state["readings"].items()
        if not s["go"]
    ]
    wrong = {k[0] for k, seen in state["readings"].items() if k[2] != "ohm" and not seen["go"]}
    bad = [b for b in state["fitted"] if b in wrong]
    boards = []
    for step in bench.steps:
        rails = []
        for r in step.rails:
            seen = {u: state["readings"].get((step.board, r.rail, u)) for u in ("ohm", "V", "A")}
            rails.append({
                "rail": r.rail,
                "dead_ohms": range_dict(r.ohms),
                "adds": range_dict(None if r.made else r.amps),
                "stop": range_dict(None if r.made else r.stop),
                "before": r.before,
                "after": r.after,
                "volts": range_dict(r.volts),
                "rated": r.rated,
                "over_rated": r.strained,
                "made_here": r.made,
                "read": {u: {"value": s["value"], "go": s["go"]} for u, s in seen.items() if s},
            })  # fmt: skip
        boards.append({
            "board": step.board, "name": step.name, "worth": step.worth, "slot": step.slot,
            "why": step.why, "in": step.board in state["fitted"], "rails": rails,
            "withhold": list(step.withheld),
            "interlocks": [
                {"name": k, "rail": lock.rail, "needs": lock.needs, "why": lock.why,
                 "volts": range_dict(bench.rack.rails[lock.needs].limits)}
                for k, lock in bench.rack.interlocks.items() if k in step.locks
            ],
        })  # fmt: skip
    return {
        "machine": bench.rack.name,
        "boards": boards,
        "totals": {r: {"amps": a, "rated": rated} for r, (a, rated) in budget(bench.steps).items()},
        "fitted": state["fitted"],
        "rails_on": state["rails"],
        # While a board that is in reads wrong there is one thing to do.
        "off": [f"switch off and take {b} out: `--out {b}`, or read it again" for b in bad],
        "next": None if turn is None or bad else turn.board,
        "owed": [] if turn is None or bad else bench.before(turn.board),
        "locked": {r: why for r in bench.rack.rails if (why := bench.locked(r))},
        "stop": stops,
        "overridden": [dict(e.body) for e in bench.entries if e.body.get("anyway")],
        "caution": BEFORE_ANY,
    }


def resume_sheet(bench: RackBench) -> dict[str, Any]:
    """Where the work stopped: order and readings in short, straps, the last memory print."""
    order, straps = order_sheet(bench), settings_sheet(bench)
    prints = [e for e in bench.entries if e.kind == "memory"]
    kept = ("machine", "fitted", "rails_on", "off", "next", "owed", "locked", "stop", "overridden")
    return {k: order[k] for k in (*kept, "caution")} | {
        "move": straps["move"],
        "look": straps["look"],
        "at_odds": straps["at_odds"],
        "last_print": None if not prints else {
            "entry": prints[-1].seq,
            "at": prints[-1].at.isoformat(timespec="seconds"),
            "board": prints[-1].body["board"],
            "causes": prints[-1].body["causes"],
            "caution": HANDLING,
        },
    }  # fmt: skip


def _wanted(rack: Rack, items: Sequence[str]) -> tuple[dict[str, str], tuple[int, int] | None]:
    """The file's wanted configuration with what was asked for over it. Raises ProblemsError."""
    choices, memory = dict(rack.wanted), rack.wanted_memory
    known = rack.settings()
    problems = []
    for item in items:
        name, _, choice = item.partition("=")
        if name == "memory":
            try:
                memory = span(choice, rack.numbers)
            except QuantityError as error:
                problems.append(Problem("", 0, 0, item, error.wrong, error.instead))
        elif name not in known:
            advice = near(name, known) or ", ".join(known)
            problems.append(Problem("", 0, 0, item, f"there is no setting {name}", advice))
        elif choice not in known[name].table():
            wrong = f"{name} has no choice “{choice}”"
            problems.append(Problem("", 0, 0, item, wrong, " or ".join(known[name].table())))
        else:
            choices[name] = choice
    if problems:
        raise ProblemsError(problems)
    return choices, memory


def settings_sheet(bench: RackBench, want: Sequence[str] = ()) -> dict[str, Any]:
    """Settings now and as wanted, the straps to move, and everything that disagrees."""
    rack = bench.rack
    wanted, memory = _wanted(rack, want)
    first, now = bench.positions(found=True), bench.positions()
    choices = read_choices(rack, now)
    plan = solve(rack, choices, wanted, memory)
    before = conflicts(rack, filled(rack, choices), memory) + meaningless(rack, now)
    boards = []
    for name, board in rack.boards.items():
        if not board.settings:
            continue
        items = rows(rack, name, plan.choices, now)
        boards.append({
            "board": name,
            "settings": [
                {"setting": r.setting, "means": r.means, "words": list(r.words),
                 "now": choices[f"{name}.{r.setting}"],
                 "recorded": all(w is not None for w in r.was),
                 "wanted": r.choice, "changed": choices[f"{name}.{r.setting}"] != r.choice,
                 "positions": [
                     {"strap": s, "found": first.get((name, s)), "now": w, "to": t}
                     for s, w, t in zip(r.straps, r.was, r.to, strict=True)
                 ]}
                for r in items
            ],
            "picture": text_picture(items),
        })  # fmt: skip
    to_move = moves(rack, now, plan.choices)
    return {
        "machine": rack.name,
        "numbers": rack.numbers,
        "boards": boards,
        "move": [
            {"board": m.board, "strap": m.strap, "was": m.was, "to": m.to, "words": m.words()}
            for m in to_move
            if m.was is not None
        ],
        "look": [f"{m.board} {m.strap}" for m in to_move if m.was is None],
        "at_odds": [_odd(c) for c in before],
        "left": [_odd(c) for c in plan.conflicts],
        "others": [list(o) for o in plan.others],
        "caution": BEFORE_ANY,
    }


def _odd(conflict: Any) -> dict[str, Any]:
    return {"kind": conflict.kind, "words": conflict.words, "settings": list(conflict.settings)}


def settings_svg(bench: RackBench, want: Sequence[str] = ()) -> dict[str, str]:
    """Board -> drawing of its straps as wanted, those to move marked."""
    rack = bench.rack
    now = bench.positions()
    wanted, memory = _wanted(rack, want)
    plan = solve(rack, read_choices(rack, now), wanted, memory)
    return {
        n: svg_picture(n, rows(rack, n, plan.choices, now))
        for n, b in rack.boards.items()
        if b.settings
    }


def code_sheet(bench: RackBench, shown: str) -> dict[str, Any]:
    """What a message or a row of lamps means, and which settings can be behind it.

    `shown`: the message, or lamps as in the file, such as ``0100``. Raises NotFoundError.
    """
    rack = bench.rack
    text = " ".join(shown.split())
    hits = [k for k, c in rack.codes.items() if text in (c.lamps, c.says)]
    hits = hits or [k for k, c in rack.codes.items() if c.says and c.says.split()[0] == text]
    if not hits:
        known = [c.says or c.lamps or "" for c in rack.codes.values()]
        raise NotFoundError(f"“{shown}” is not in the table of codes; it has: {', '.join(known)}")
    code = rack.codes[hits[0]]
    choices = read_choices(rack, bench.positions())
    blames = []
    first: list[str] = []
    if code.start is not None and code.words is not None:
        for b in why_absent(rack, choices, code.start, code.start + code.words - 1):
            setting = rack.settings()[b.setting]
            board = b.setting.partition(".")[0]
            blames.append({
                "setting": b.setting, "means": setting.means, "was": b.was, "to": b.to,
                "puts_back": b.puts_back, "why": b.why,
                "straps": [m.words() for m in moves(rack, bench.positions(),
                                                    {**filled(rack, choices), b.setting: b.to})
                           if m.board == board and m.strap in setting.of],
            })  # fmt: skip
        first.append(
            "Settings first: they cost nothing. Then slot and seating, then the board's "
            "rails, then chips."
        )
    return {
        "code": hits[0],
        "means": code.means,
        "settings": blames,
        "look": list(code.look),
        "order": first,
    }


def memory_board(rack: Rack, name: str | None) -> tuple[str, Board]:
    """The memory board meant. Raises NotFoundError when there is none or it must be named."""
    able = {k: b for k, b in rack.boards.items() if b.memory is not None}
    if name is None and len(able) == 1:
        return next(iter(able.items()))
    if name not in able:
        which = ", ".join(able) or "none"
        raise NotFoundError(f"say which memory board with --board; boards with a memory: {which}")
    return name, able[name]


def memory_sheet(
    bench: RackBench, text: str, *, board: str | None = None, where: str = "", cut: bool = False
) -> dict[str, Any]:
    """Ranked causes of what a memory test printed; stored in the journal with the print.

    A line whose numbers are none of this machine is told (`unread`) and left out. Raises
    ProblemsError when nothing else is in the print; that print is stored all the same.
    """
    rack = bench.rack
    name, entry = memory_board(rack, board)
    memory = entry.memory
    assert memory is not None
    log, problems = read_log(text, rack.numbers, rack.codes, where)
    kept = text if len(text) <= 100_000 else text[:100_000] + "\n… (cut)\n"
    if problems and not log.runs and not log.codes:
        bench.journal.append("memory", {"board": name, "text": kept, "causes": []})
        raise ProblemsError(problems)
    if cut:
        runs = tuple(
            r if r.passed else type(r)(r.kind, r.fails, r.pairs, True, r.warm) for r in log.runs
        )
        log = Log(runs, log.first, log.last, log.codes, log.unused)
    swapped = False
    if memory.swap is not None:
        swapped = read_choices(rack, bench.positions())[f"{name}.{memory.swap}"] == memory.swapped
    ranking = rank(memory, log, 0, memory.banks * memory.words - 1, swapped=swapped)
    data = _ranked(rack, name, entry, log, ranking, swapped)
    data["unread"] = [f"line {p.line}: {p.wrong}. Write {p.instead}." for p in problems[:20]]
    data["entry"] = bench.journal.append(
        "memory", {"board": name, "text": kept, "causes": data["causes"][:3]}
    ).seq
    return data


def _ranked(
    rack: Rack, name: str, entry: Board, log: Log, ranking: Ranking, swapped: bool
) -> dict[str, Any]:
    memory = entry.memory
    assert memory is not None
    advice = advise(memory, log, ranking)

    def cause(row: Any) -> dict[str, Any]:
        c, bits = row
        t = told(memory, c, swapped, bits)
        return {"name": t.name, "where": list(t.where), "share": c.share, "form": c.form,
                "why": t.why, "confirm": t.confirm, "explains": c.explains, "of": c.of,
                "key": list(c.key)}  # fmt: skip

    beyond = set(ranking.outside)
    failed = ((a, w ^ r) for run in log.runs for a, w, r in run.fails if a not in beyond)
    show_first = list(islice(failed, 8))
    codes = [(rack.codes[k], said) for k, said in log.codes]
    return {
        "board": name,
        "tests": [
            {"kind": r.kind, "failures": len(r.fails) + len(r.pairs), "cut": r.cut, "warm": r.warm}
            for r in log.runs
        ],
        "codes": [
            {"says": c.says, "printed": said, "means": c.means, "straps": c.start is not None}
            for c, said in codes
        ],
        "first": [
            {"address": show_number(a, rack.numbers, rack.width),
             "difference": show_number(x, rack.numbers, rack.word),
             "bank": memory.bank(a, swapped),
             "bits": [memory.bit_name(b) for b in range(rack.word) if x >> b & 1]}
            for a, x in show_first
        ],
        "causes": [cause(c) for c in in_rows(ranking.causes)[:6]],
        "second": [cause(c) for c in in_rows(ranking.second)[:3]],
        "advice": list(advice.words),
        "march": None if advice.march is None else
        {"name": advice.march.name, "text": advice.march.text, "length": advice.march.length},
        "clear": ranking.clear,
        "outside": [show_number(a, rack.numbers, rack.width) for a in ranking.outside[:8]],
        "unused": list(log.unused[:20]),
        "caution": HANDLING,
    }  # fmt: skip


def march_sheet() -> dict[str, Any]:
    """Every march test with its coverage by trying all single faults on four cells."""
    return {
        "tests": [
            {
                "name": t.name,
                "text": t.text,
                "length": t.length,
                "finds": {k: {"found": f, "of": n} for k, (f, n) in found.items()},
            }
            for t, found in march_rows()
        ]
    }
