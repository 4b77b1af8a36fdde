"""`next` and `suspects` say where a check and a suspect are on the pictures, once pinned."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from halfsplit.assembly.file import load
from halfsplit.bench.pinning import add_picture, put_pin
from halfsplit.journal import Journal, journal_path
from tests.cli.conftest import Run, cache, run, tray

__all__ = ["cache", "run", "tray"]


def test_next_and_suspects_say_where_on_the_picture(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "p5=1.06").code == 0
    bare, before = (
        run("next", "pt3.yaml", "--json").json,
        run("suspects", "pt3.yaml", "--json").json,
    )
    assert "pins" not in bare["checks"][0] and "pins" not in before["groups"][0]
    check, part = bare["checks"][0], before["groups"][0]["suspects"][0]["parts"][0]
    assembly, _ = load(tray)
    assert assembly is not None
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (90, 120, 60)).save(out, "JPEG")
    picture, _ = add_picture(assembly, out.getvalue(), "underside")
    put_pin(assembly, picture, 0.25, 0.5, net=check["net"])
    put_pin(assembly, picture, 0.1, 0.9, net=assembly.common)
    put_pin(assembly, picture, 0.75, 0.2, part=part)

    told = run("next", "pt3.yaml")
    assert "on “underside”, 25 % from the left and 50 % from the top" in told.out
    assert "black on com: on “underside”, 10 % from the left and 90 % from the top" in told.out
    red, black = run("next", "pt3.yaml", "--json").json["checks"][0]["pins"]
    assert (red["probe"], red["x"], red["y"]) == ("red", 0.25, 0.5)
    assert (black["probe"], black["x"], black["y"]) == ("black", 0.1, 0.9)
    told = run("suspects", "pt3.yaml")
    assert f"look at {part}: on “underside”, 75 % from the left and 20 % from the top" in told.out
    with Journal.open(journal_path(tray)) as journal:
        assert [e.kind for e in journal.entries()] == ["condition", "read"]
