"""From parts to elements: what is live with the wall, and what one lead off does."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.simulator import tray

from halfsplit.assembly.condition import Change, Condition, parse_change
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.op import operating_point
from halfsplit.problems import ProblemsError


def machine(folder: Path, parts: str, more: str = "") -> Machine:
    file = folder / "m.yaml"
    file.write_text(f"assembly: M\nparts:\n{parts}{more}", encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    return Machine(assembly)


def volts(built: Machine, *changes: Change) -> dict[str, float]:
    condition = Condition(built.assembly.default_feed(), "none", changes)
    solved = operating_point(built.topology, built.topology.rows([built.values(condition)]))
    return dict(zip(built.topology.nets, solved.mean[0].tolist(), strict=True))


def test_every_net_in_contact_with_the_wall_is_known_in_any_order_of_parts(tmp_path: Path) -> None:
    """Fuse, switch and lead listed backwards, the inlet last: all of it is still mains."""
    built = machine(
        tmp_path,
        "  T1:\n    kind: transformer\n    windings:\n"
        "      p: {start: d, end: n, volts: 230V, ohms: 20R}\n"
        "      s: {start: e, end: com, volts: 9V, ohms: 1R}\n"
        "  R1: {kind: resistor, value: 1k, a: e, b: com}\n"
        "  F1: {kind: fuse, amps: 1A, a: c, b: d}\n"
        "  SW1: {kind: switch, a: b, b: c}\n"
        "  W1: {kind: wire, a: a, b: b}\n"
        "  J1: {kind: mains, volts: 230V, live: a, neutral: n}\n",
    )
    assert built.mains_nets() == {"a", "b", "c", "d", "n"}


def test_one_lead_of_a_bridge_takes_two_arms(tmp_path: Path) -> None:
    """With ac1 off, ac2 alone still feeds pos: 12 V less one drop, by hand about 11.4 V."""
    built = machine(
        tmp_path,
        "  S1: {kind: supply, volts: 12V, pos: x, neg: com}\n"
        "  S2: {kind: supply, volts: 20V, pos: y, neg: com}\n"
        "  B1: {kind: bridge, ac1: y, ac2: x, pos: p, neg: com}\n"
        "  R1: {kind: resistor, value: 1k, a: p, b: com}\n",
    )
    assert volts(built)["p"] == pytest.approx(19.4, abs=0.2)
    assert volts(built, Change("B1", "lifted", "ac1"))["p"] == pytest.approx(11.4, abs=0.2)
    assert volts(built, Change("B1", "lifted", "pos"))["p"] == pytest.approx(0.0, abs=1e-3)


def test_a_relay_whose_coil_is_off_does_not_pull(tmp_path: Path) -> None:
    built = machine(
        tmp_path,
        "  S1: {kind: supply, volts: 24V, pos: x, neg: com}\n"
        "  K1: {kind: relay, coil: 1k, volts: 24V, c1: x, c2: com, a: x, b: y}\n"
        "  R1: {kind: resistor, value: 1k, a: y, b: com}\n",
    )
    assert volts(built)["y"] == pytest.approx(24.0, abs=0.1)
    for lead in ("c1", "b"):
        assert abs(volts(built, Change("K1", "lifted", lead))["y"]) < 1e-3
    opened = {m.name: m.changes for m in built.assembly.parts["K1"].modes()}["coil open"]
    rows = built.topology.rows([opened])
    solved = operating_point(built.topology, rows)
    assert abs(solved.mean[0, built.topology.net_index["y"]]) < 1e-3


def test_a_lead_whose_effect_is_not_modelled_is_refused_in_words(tmp_path: Path) -> None:
    built = machine(
        tmp_path,
        "  S1: {kind: supply, volts: 12V, pos: x, neg: com}\n"
        "  U1: {type: '7805', in: x, com: com, out: p5}\n"
        "  R1: {kind: resistor, value: 1k, a: p5, b: com}\n",
    )
    with pytest.raises(ProblemsError, match="not modelled"):
        parse_change(built.assembly, "U1 lift com")


def test_every_lead_of_the_tray_can_be_lifted() -> None:
    assembly = tray.tray().assembly
    for part in assembly.parts.values():
        for lead in part.terminals():
            parse_change(assembly, f"{part.ref} lift {lead}")
            Machine(assembly).values(Condition("raws", "none", (Change(part.ref, "lifted", lead),)))
