"""The leans-on map as drawn: readable, told by shape and words, from left to right."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

from halfsplit.pictures.leansmap import Map, lay_out, leans_svg
from halfsplit.pictures.sheet import meets

SVG = "{http://www.w3.org/2000/svg}"


def edge(of: str, on: str, how: str = "by R1") -> dict[str, Any]:
    return {"of": of, "on": on, "how": how, "coupling": 1.0, "without": 0.0, "source": "circuit"}


def tray() -> dict[str, Any]:
    """The shape of the demo tray's map: a reference and its rail lean on each other."""
    kinds = {"raw+": "raw", "raw-": "raw", "zk": "reference", "N12": "rail", "P12": "rail"}
    kinds |= {"P5": "rail", "TP6": "signal"}
    pairs = [("zk", "N12"), ("N12", "raw-"), ("N12", "zk"), ("P12", "raw+"), ("P12", "N12")]
    pairs += [("P5", "raw+"), ("P5", "P12"), ("P5", "N12"), ("TP6", "P5"), ("TP6", "N12")]
    return {
        "nodes": [{"label": k, "net": k, "kind": v} for k, v in kinds.items()],
        "edges": [edge(a, b) for a, b in pairs],
        "struck": [edge("P5", "TP6") | {"source": "a probe was left on"}],
        "order": list(kinds),
        "unsolved": [],
    }


PROOFS = [
    {"label": "N12", "proved": True, "at": "load half", "missing": []},
    {"label": "P5", "proved": False, "at": "load half", "missing": ["P5: a reading at a load"]},
]


def place(laid: Map) -> dict[str, Any]:
    return {n.label: n for n in laid.nodes if n.label}


def test_what_holds_up_stands_left_of_what_leans_on_it() -> None:
    laid = lay_out(tray(), PROOFS)
    at = place(laid)
    for run in laid.runs:
        assert run.path[0].x < run.path[-1].x
    forwards = [r for r in laid.runs if r.path[0].label == r.edge["on"]]
    assert [r.edge["of"] for r in laid.runs if r not in forwards] == ["zk"]  # closes the loop
    assert at["raw-"].x < at["N12"].x < at["P12"].x < at["P5"].x < at["TP6"].x


def test_boxes_do_not_overlap_and_long_edges_go_around_them() -> None:
    laid = lay_out(tray(), PROOFS)
    boxes = [n.box for n in laid.nodes]
    assert not [1 for k, a in enumerate(boxes) for b in boxes[k + 1 :] if meets(a, b)]
    columns = {n.column for n in laid.nodes}
    for run in laid.runs:  # one stop in every column on the way
        assert [n.column for n in run.path] == list(
            range(run.path[0].column, run.path[-1].column + 1)
        )
        assert run.path[-1].column in columns


def test_proved_and_not_is_told_by_line_and_words() -> None:
    root = ET.fromstring(leans_svg(tray(), PROOFS))
    nodes = {g.get("data-node"): g for g in root.iter(f"{SVG}g") if g.get("data-node")}
    said = {k: " ".join(g.itertext()) for k, g in nodes.items()}
    assert "proved at load half" in said["N12"] and "not proved" in said["P5"]
    dashes = {k: g.find(f"{SVG}path").get("stroke-dasharray") for k, g in nodes.items()}  # type: ignore[union-attr]
    assert dashes["N12"] is None and dashes["P5"] is not None
    edges = {(g.get("data-of"), g.get("data-on")) for g in root.iter(f"{SVG}g")} - {(None, None)}
    assert len(edges) == 10
    text = " ".join(root.itertext())
    assert (
        "P5 leans on N12: by R1" in text
        and "struck by the file: P5 on TP6: a probe was left on" in text
    )


def test_hostile_labels_are_text() -> None:
    data = tray()
    for item in (*data["nodes"], *data["edges"]):
        for key in ("label", "of", "on"):
            if item.get(key) == "P5":
                item[key] = '<script>"&'
    data["order"] = [n["label"] for n in data["nodes"]]
    text = leans_svg(data)
    ET.fromstring(text)
    assert "<script" not in text


def test_a_map_of_nothing_is_still_a_picture() -> None:
    empty = {"nodes": [], "edges": [], "struck": [], "order": [], "unsolved": []}
    ET.fromstring(leans_svg(empty))
