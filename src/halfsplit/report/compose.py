"""From the data of a report to headings, lines and tables, the same for paper and screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

CONTACT = "________________________________"
LOCAL = (
    "Bench information, not permission: local rules and licensed practice come first, and only "
    "somebody allowed to may put this machine back on the mains."
)
BOX = "☐"
ON_LABEL = 4  # hazards a label has room for
POINTED = 0.05  # weight from which the readings are told as evidence against a part
SPEAKS = {"supports": "for it", "contradicts": "against it", "neutral": "neither"}
Block = dict[str, Any]


def lines(kind: str, said: Iterable[str]) -> list[Block]:
    """A list of lines: kind "text", "caution" or "small"; nothing when there are none."""
    told = [t for t in said if t]
    return [{"kind": kind, "lines": told}] if told else []


def table(head: Sequence[str], rows: Iterable[Sequence[Any]], none: str = "") -> list[Block]:
    """A table, or a line that says there is nothing."""
    told = [[str(c) for c in row] for row in rows]
    if not told:
        return lines("text", [none])
    return [{"kind": "table", "head": list(head), "rows": told}]


def document(data: dict[str, Any]) -> dict[str, Any]:
    """The whole report as sections of blocks."""
    sections = [
        _section("How it stands", _standing(data)),
        _section("Hazards", lines("caution", [*data["hazards"], LOCAL])),
        _section("As found", _found(data)),
        _section("Faults found", _faults(data)),
        _section("Parts fitted and settings", _fitted(data)),
        _section("Rails", _rails(data)),
        _section("Protection", _protection(data)),
        _section("Old capacitors and stored charge", _capacitors(data)),
        _section("Boards beside it", _boards(data)),
        _section("Passed all the same", _overrides(data)),
        _section("Residual doubts", _doubts(data)),
        _section("How suspicion moved", _drawn(data, "suspicion")),
        _section("Next", _next(data)),
        _section("Journal", _log(data)),
    ]
    return {
        "title": f"{data['assembly']}: report",
        "subtitle": data["machine"],
        "facts": _facts(data),
        "sections": [s for s in sections if s["blocks"]],
        "foot": f"{data['assembly']}, as of {data['as_of'] or 'no entry yet'}",
    }


def _section(title: str, blocks: list[Block]) -> dict[str, Any]:
    return {"title": title, "blocks": blocks}


def _facts(data: dict[str, Any]) -> list[list[str]]:
    return [
        ["file", data["file"]],
        ["as of", data["as_of"] or "no entry yet"],
        ["journal", f"{data['entries']} entries"],
        ["mains setting", data["mains"]],
        ["made by", f"Halfsplit {data['version']}" + (", quick" if data["quick"] else "")],
    ]


def _drawn(data: dict[str, Any], section: str) -> list[Block]:
    return [
        {"kind": "picture", "svg": p["svg"], "caption": p["caption"]}
        for p in data["pictures"]
        if p["section"] == section
    ]


def _standing(data: dict[str, Any]) -> list[Block]:
    blocks = lines("text", [f"State: {data['state']}.", f"Condition now: {data['condition']}."])
    blocks += table(("open item", ""), [(t, "to be put right") for t in data["open_items"]])
    if data["gates"] is not None:
        refused = data["gates"]["refused"]
        words = [
            f"{name}: refused by {', '.join(why)}" if why else f"{name}: no gate in the way"
            for name, why in refused.items()
        ]
        blocks += lines("text", words)
    return blocks


def _found(data: dict[str, Any]) -> list[Block]:
    found = data["found"]
    blocks = table(
        ("#", "time", "at", "reads", "condition"),
        [(r["entry"], r["at"], r["where"], r["value"], r["condition"]) for r in found["readings"]],
        "Nothing was read before the first part was changed.",
    )
    if found["more_readings"]:
        blocks += lines("small", [f"and {found['more_readings']} more, in the journal below"])
    blocks += table(
        ("#", "part", "seen, heard or smelt"),
        [
            (o["entry"], o["part"], o["text"] + (f" ({o['sign']})" if o["sign"] else ""))
            for o in found["observations"]
        ],
    )
    blocks += table(
        ("part", "drawn", "found marked"),
        [(m["part"], m["drawn"], m["found"]) for m in found["marked"]],
    )
    touched = ", ".join(found["touched"])
    return blocks + lines(
        "text", [f"Touched by an earlier repairer: {touched}." if touched else ""]
    )


def _faults(data: dict[str, Any]) -> list[Block]:
    blocks: list[Block] = []
    pictures = _drawn(data, "faults")
    for k, f in enumerate(data["faults"]):
        head = f"{f['part']}, {f['drawn']}"
        share = f"{100 * f['weight']:.0f} %"
        pointed = bool(f["fault"]) and f["weight"] >= POINTED
        claimed = (
            f"Just before, the readings held for {f['fault']} with {share}."
            if pointed
            else f"The readings did not point to it just before ({share})."
        )
        blocks.append({"kind": "head", "lines": [head]})
        blocks += lines("text", [claimed, *f["seen"], *f["done"]])
        blocks += table(
            ("#", "speaks", "in words"),
            [
                (e["entry"], SPEAKS.get(e["verdict"], e["verdict"]), e["words"])
                for e in ((*f["evidence"], *f["noted"]) if pointed else ())
            ],
        )
        blocks += table(
            ("check too", "because", "became"),
            [(t["part"], f"{t['because']}: {t['words']}", t["became"]) for t in f["took_along"]],
        )
        blocks += pictures[k : k + 1]
    return blocks or lines("text", ["No part was replaced or tested bad so far."])


def _fitted(data: dict[str, Any]) -> list[Block]:
    blocks = table(
        ("part", "as drawn", "now", "what", "#", "time"),
        [
            (p["part"], p["original"], p["now"], p["what"], p["entry"], p["at"])
            for p in data["fitted"]
        ],
        "Every part is the one it came with.",
    )
    return blocks + table(
        ("setting", "in the file", "now"),
        [(s["part"], s["drawn"], s["now"]) for s in data["settings"]],
    )


def _rails(data: dict[str, Any]) -> list[Block]:
    blocks: list[Block] = []
    pictures = iter(_drawn(data, "rails"))
    for rail in data["rails"]:
        told = [f"limits {rail['limits']}"]
        told += [f"ripple at most {rail['ripple']}"] if rail["ripple"] else []
        told += [f"rated {rail['rated']}"] if rail["rated"] else []
        blocks.append({"kind": "head", "lines": [f"{rail['rail']} ({', '.join(told)})"]})
        blocks += table(
            ("#", "load", "fed by", "reads", "healthy", "verdict"),
            [
                (r["entry"], r["load"], r["feed"], r["value"], r["expected"], r["verdict"])
                for r in rail["readings"]
            ],
            "Never read.",
        )
        if rail["readings"] and not data["quick"]:
            blocks += [p for p in [next(pictures, None)] if p]
    return blocks


def _protection(data: dict[str, Any]) -> list[Block]:
    return table(
        ("#", "rail", "test", "measured", "wanted", "verdict"),
        [
            (p["entry"], p["rail"], p["test"], p["read"], p["wanted"], p["verdict"])
            for p in data["protection"]
        ],
        "No trip, limit or hold-up was measured.",
    )


def _capacitors(data: dict[str, Any]) -> list[Block]:
    blocks: list[Block] = []
    for part in data["capacitors"]["reformed"]:
        blocks.append({"kind": "head", "lines": [f"{part['part']}, reforming"]})
        blocks += table(
            ("#", "time", "minutes", "volts across it", "current", "rule"),
            [
                (r["entry"], r["at"], r["minutes"], r["volts"], r["amps"], r["rule"])
                for r in part["rows"]
            ],
        )
    blocks += _drawn(data, "reformed")
    return blocks + table(
        ("#", "time", "discharged", "then read", "verdict"),
        [
            (d["entry"], d["at"], d["part"], d["volts"], d["verdict"])
            for d in data["capacitors"]["discharged"]
        ],
    )


def _boards(data: dict[str, Any]) -> list[Block]:
    blocks: list[Block] = []
    for rack in data["boards"]:
        blocks.append({"kind": "head", "lines": [rack["file"]]})
        if "problem" in rack:
            blocks += lines("text", [f"It could not be read: {rack['problem']}"])
            continue
        blocks += lines("text", [f"In: {', '.join(rack['fitted']) or 'no board yet'}."])
        rows = [
            (s["board"], s["strap"], s["setting"], s["found"] or "-", s["now"] or "-", s["to"])
            for s in rack["straps"]
            if s["found"] or s["now"]
        ]
        unseen = len(rack["straps"]) - len(rows)
        blocks += lines("text", [f"{unseen} straps not looked at." if unseen else ""])
        blocks += table(("board", "strap", "sets", "as found", "now", "wanted"), rows)
        blocks += lines("text", [*rack["at_odds"], *rack["stop"], *rack["overridden"]])
    return blocks


def _overrides(data: dict[str, Any]) -> list[Block]:
    return table(
        ("#", "gate", "reason typed"),
        [(o["entry"], o["gate"], o["why"]) for o in data["overrides"]],
    )


def _doubts(data: dict[str, Any]) -> list[Block]:
    blocks = lines("text", data["doubts"] or ["Nothing that the file asks for is left unproved."])
    blocks.append({"kind": "head", "lines": ["What no reading here speaks about"]})
    return blocks + lines("text", data["left_out"])


def _next(data: dict[str, Any]) -> list[Block]:
    told = data["next"]
    if told is None:
        return lines("text", ["Not worked out: halfsplit next says where to begin."])
    blocks = lines("caution", [told["first"] or "", told["blocked"] or ""])
    if told["act"]:
        for name, ways in told["act"]["prove"].items():
            blocks += lines("text", [f"Prove {name} out of circuit:", *ways])
    for c in told["checks"][:1]:
        blocks += lines("caution", [c["caution"]])
        expect = f" Healthy: {c['expect']}." if c["expect"] else ""
        where = f", {c['at']}" if c["at"] else ""
        words = f"{c['label']}{where}, {c['quantity']}, {c['condition']}.{expect}"
        blocks += lines("text", [words])
        blocks += table(
            ("if it reads", "it leaves"), [(o["reads"], o["means"]) for o in c["outcomes"]]
        )
    return blocks + lines("text", [told["nothing_left"] or ""])


def _log(data: dict[str, Any]) -> list[Block]:
    return table(
        ("#", "time", "kind", "what"),
        [
            (e["entry"], e["at"], e["kind"], e["words"] + (" (undone)" if e["undone"] else ""))
            for e in data["log"]
        ],
        "The journal is empty.",
    )


def worksheet(data: dict[str, Any]) -> dict[str, Any]:
    """One page to take to the bench: the open steps of the plan, or else the next check."""
    blocks = lines("caution", [*data["before"][:3], LOCAL])
    plan = data["plan"]
    if plan is None:
        blocks += lines("text", ["No bring-up plan is written down; next check:"]) + _next(data)
    else:
        for step in [s for s in plan["steps"] if s["state"] != "done"][:4]:
            blocks.append({"kind": "head", "lines": [f"{BOX} {step['title']} ({step['key']})"]})
            blocks += lines("caution", step["before"][:2])
            needs = f"Only after: {', '.join(step['needs'])}." if step["needs"] else ""
            blocks += lines("text", [step["do"], needs])
            blocks += table(
                ("at", "expect", "stop outside", "read"),
                [_point(p) for p in step["points"]],
            )
    return {
        "title": f"{data['assembly']}: worksheet",
        "subtitle": data["condition"],
        "facts": [["as of", data["as_of"] or "no entry yet"], ["by", "____________________"]],
        "sections": [_section("Next steps", blocks)],
        "foot": f"{data['assembly']}, worksheet as of {data['as_of'] or 'no entry yet'}",
    }


def _point(point: dict[str, Any]) -> tuple[str, ...]:
    from halfsplit.quantity.volts import volts

    stop = f"{volts(point['low'])} to {volts(point['high'])}"
    return point["label"], volts(point["expected"]), stop, "__________"


def label(data: dict[str, Any]) -> dict[str, Any]:
    """What a label on the machine says."""
    hazards = [_cut(t, 130) for t in data["hazards"][:ON_LABEL]]
    more = len(data["hazards"]) - len(hazards)
    hazards += [f"{more} more hazards in the report"] if more else []
    open_ = [*data["open_items"], *(f"passed: {o['gate']}" for o in data["overrides"])]
    return {
        "title": _cut(data["machine"] or data["assembly"], 48),
        "rows": [
            ["assembly", _cut(data["assembly"], 110)],
            ["as of", data["as_of"] or "no entry yet"],
            ["state", _cut(data["state"], 110)],
            ["mains setting", data["mains"]],
            ["open", _cut("; ".join(open_) or "nothing", 110)],
            ["doubts", f"{len(data['doubts'])}, see report" if data["doubts"] else "none noted"],
        ],
        "hazards": hazards,
        "contact": CONTACT,
    }


def _cut(text: str, most: int) -> str:
    """Text that fits the label; what is cut off stands in the report."""
    return text if len(text) <= most else text[: most - 1] + "…"
