"""A reading typed as people say it, and what to write instead in this machine's own words."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.test_strangers import SUPPLY
from tests.cli.conftest import Run


@pytest.fixture(autouse=True)
def supply(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "supply.yaml").write_text(SUPPLY)
    monkeypatch.chdir(tmp_path)


def test_a_net_and_its_value_may_be_two_words(run: Run) -> None:
    ran = run("read", "supply.yaml", "p12", "-1.71", "ref=15.0", "raw", "OL")
    assert "P12 -1.71 V" in ran.out and "ref 15.00 V" in ran.out
    kept = run("export", "supply.yaml", "--json").json["entries"]
    assert [e["body"]["text"] for e in kept if e["kind"] == "read"] == ["-1.71", "15.0", "OL"]


def test_a_word_that_is_no_reading_is_told_with_a_rail_of_this_machine(run: Run) -> None:
    ran = run("read", "supply.yaml", "p12")
    assert ran.code == 1
    assert "“p12” is no reading. Write p12=12.00" in ran.out + ran.err


@pytest.mark.parametrize("typed", ["-1.81V", "\N{MINUS SIGN}1.81", "-1,81"])
def test_a_value_with_its_sign_is_no_option(run: Run, typed: str) -> None:
    assert "P12 -1.81 V" in run("read", "supply.yaml", "p12", typed).out


def test_of_two_nets_and_one_value_nothing_is_stored(run: Run) -> None:
    ran = run("read", "supply.yaml", "ref", "p12", "0.41")
    assert ran.code == 1 and "is no reading" in ran.out + ran.err
    kept = run("export", "supply.yaml", "--json").json["entries"]
    assert not [e for e in kept if e["kind"] == "read"]
