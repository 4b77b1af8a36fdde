"""The bring-up plan of the tray, walked from its first dead check to the gate of its boards.

Every step is ticked as at the bench: a fuse looked at, a note, readings in the step's own feed and
load, three trips of the crowbar. The readings are what the plan expects, so what is tested is the
walking, not the numbers; those are held against the design notes and ngspice elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from halfsplit.bench import planning
from tests.cli.conftest import Run
from tests.cli.helpers import stored


def plan(run: Run) -> list[dict[str, Any]]:
    ran = run("plan", "pt3.yaml", "--json")
    assert ran.code == 0, ran.out + ran.err
    return list(ran.json["steps"])


def do(run: Run, *argv: str) -> None:
    ran = run(*argv)
    assert ran.code == 0, f"{argv}: {ran.out}{ran.err}"


def walk(run: Run, step: Mapping[str, Any]) -> None:
    """Tick one step by what it asks for."""
    key = step["key"]
    if key == "fuses":
        for ref in ("F1", "F2", "F3", "F4"):
            do(run, "observe", "pt3.yaml", "--part", ref, "--sign", "as-drawn")
    elif key.startswith("trip-"):
        rail = key.removeprefix("trip-")
        do(run, "protect", "pt3.yaml", rail, *("--trip", "6.3V") * 3)
    elif step["condition"] is None:
        do(run, "plan", "pt3.yaml", "--done", key, "--note", "as it should be")
    else:
        do(run, "plan", "pt3.yaml", "--at", key)
        read = [f"{p['net']}={p['expected']:.4g}" for p in step["points"]]
        do(run, "read", "pt3.yaml", *read)


def test_the_plan_is_walked_from_the_first_dead_check_to_the_gate(
    tray: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    do(run, "change", "pt3.yaml", "--feed", "off")
    before = len(stored(tray))
    # Interrupted while it is worked out: nothing is written down, and the next call begins anew.
    with monkeypatch.context() as patch:
        patch.setattr(planning, "map_of", lambda _: (_ for _ in ()).throw(KeyboardInterrupt))
        assert run("plan", "pt3.yaml").code == 130
    assert len(stored(tray)) == before

    steps = plan(run)
    keys = [s["key"] for s in steps]
    assert [s["state"] for s in steps] == ["next"] + ["open"] * (len(steps) - 1)
    assert keys.index("ohms") < keys.index("raws-none") < keys.index("mains-none")
    assert keys[-1] == "boards" and keys.index("trip-P5") < keys.index("mains-none")
    assert run("gate", "pt3.yaml", "--json").json["refused"]["boards"]

    done: list[str] = []
    for key in keys[:-1]:
        now = {s["key"]: s for s in plan(run)}
        assert [k for k in keys if now[k]["state"] == "done"] == done, key
        assert now[key]["state"] == "next", key
        if key == "raws-half":  # one reading of three, then the bench is left for the night
            do(run, "plan", "pt3.yaml", "--at", key)
            first = now[key]["points"][0]
            do(run, "read", "pt3.yaml", f"{first['net']}={first['expected']:.4g}")
            resumed = {s["key"]: s for s in plan(run)}[key]
            assert resumed["state"] == "next" and len(resumed["read"]) == 1
            assert "in limits" not in run("resume", "pt3.yaml").err
            bad = run("plan", "pt3.yaml", "--done", "boards", "--note", "all in")
            assert bad.code == 1, "boards are refused half way"
        walk(run, now[key])
        done.append(key)
    assert {s["key"]: s["state"] for s in plan(run)}["boards"] == "next"

    # What the gate still asks for, if anything, is named with what lifts it.
    refused = run("gate", "pt3.yaml", "--json").json["refused"]["boards"]
    assert refused == [], refused
    do(run, "plan", "pt3.yaml", "--done", "boards", "--note", "boards may go in")
    assert {s["state"] for s in plan(run)} == {"done"}
    text = run("plan", "pt3.yaml").out
    assert text.count("[x]") >= len(keys) and "<- next" not in text
