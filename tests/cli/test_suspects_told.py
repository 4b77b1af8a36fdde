"""`suspects` and `next` as printed: what speaks for and against, what tells nothing, what cannot
both be."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bringup.test_surroundings import TEXT
from tests.cli.conftest import Run


@pytest.fixture
def panel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> Run:
    """A lamp behind R1 that stays dark at 0 V, the fan beside it turning; R1 tested bad."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    Path("panel.yaml").write_text(TEXT, encoding="utf-8")
    assert run("read", "panel.yaml", "p12=11.9", "lp=0.00").code == 0
    for sign in ("--part LP1 --sign dark", "--part M1 --sign turning", "--part R1 --bad"):
        assert run("observe", "panel.yaml", *sign.split()).code == 0
    return run


def lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines()]


def test_short_by_default_and_everything_on_request(panel: Run) -> None:
    short, whole = (
        lines(panel("suspects", "panel.yaml", "--most", "1", *more).out) for more in ([], ["--all"])
    )
    assert short[1].startswith("1. R1 open")
    told = "R1 tested bad (#5): 48 times likelier with R1 open than with nothing wrong"
    assert f"fits: {told}" in short and f"fits: {told}" in whole
    assert any(line.startswith("fits: LP1 dark (#3)") for line in short)
    assert "against R2 short: R1 tested bad (#5)" in short
    assert "1 reading and 1 sign tell nothing either way: p12, M1 turning (#4)" in short
    assert not any(line.startswith("either way:") for line in short)
    own = [line for line in whole if line.startswith("either way:")]
    assert "with R1 open you would read" in own[0] and "at p12" in own[0]
    assert own[1].startswith("either way: M1 turning (#4)") and "95 %" in own[1]
    assert not any("tell nothing either way" in line for line in whole)


def test_what_cannot_both_be_is_said_first(panel: Run) -> None:
    for verb in ("suspects", "next", "resume"):
        assert "Contradictory" not in panel(verb, "panel.yaml").out
    assert panel("observe", "panel.yaml", "--part", "R1", "--good").code == 0
    for verb in ("suspects", "next", "resume"):
        (told,) = [k for k in lines(panel(verb, "panel.yaml").out) if k.startswith("Contradictory")]
        assert "R1: tested bad (#5) and tested good (#6)" in told and "test it again" in told
    data = panel("suspects", "panel.yaml", "--json").json
    assert [c["entries"] for c in data["contradictory"]] == [[5, 6]]
    assert panel("next", "panel.yaml", "--json").json["contradictory"] == data["contradictory"]
