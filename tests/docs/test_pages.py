"""Every page of the documentation is followed as written, and the site it makes asks nobody."""

from __future__ import annotations

import importlib.util
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.cli.app import app
from halfsplit.parts.base import REGISTRY
from tests.cli.conftest import warm
from tests.docs.runner import Page, blocks, commands, differs
from tests.simulator import deck, tray

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(p.stem for p in DOCS.glob("*.md"))
MOST_ACTIONS = 25


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """What is solved once is kept for all pages, and the tray is solved already."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("cache") / "warm"
        shutil.copytree(warm(tmp_path_factory), folder)
        patch.setenv("HALFSPLIT_CACHE", str(folder))
        patch.setenv("COLUMNS", "100")
        yield folder


@pytest.fixture
def page(shared: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Page:
    monkeypatch.chdir(tmp_path)  # put back afterwards, wherever the page goes
    return Page(tmp_path)


def text_of(name: str) -> str:
    return (DOCS / f"{name}.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_works_as_written(name: str, page: Page) -> None:
    wrong = page.follow(text_of(name))
    assert not wrong, "\n\n".join(wrong)


@pytest.mark.parametrize("file", [ROOT / "README.md", *sorted(DOCS.glob("*.md"))], ids=str)
def test_nothing_is_called_safe(file: Path) -> None:
    text = file.read_text(encoding="utf-8").replace('typ="safe"', "")
    assert not re.search(r"\bsafe\b", text, re.I)


# -- the newcomer's script ------------------------------------------------------------------------


def actions(text: str) -> int:
    """Lines somebody types: commands, and lines of files with something on them."""
    count = 0
    for block in blocks(text):
        if block.kind == "console":
            count += len(commands(block.body))
        elif block.kind == "yaml":
            lines = [line.strip() for line in block.body.splitlines()]
            count += len([line for line in lines if line and not line.startswith("#")])
    return count


def test_the_newcomer_needs_no_more_than_25_actions() -> None:
    assert 10 < actions(text_of("newcomer")) <= MOST_ACTIONS
    assert actions("```yaml\n# a.yaml\na: b\n\n# c\n```\n```console\n$ x\ny\n$ z\n```\n") == 3


def test_the_newcomers_readings_are_what_ngspice_gives(tmp_path: Path) -> None:
    text = text_of("newcomer")
    file = tmp_path / "supply.yaml"
    file.write_text(next(b.body for b in blocks(text) if b.kind == "yaml"), encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    machine = Machine(assembly)
    values = machine.values(Condition("mains", "full")) | tray.modes(machine, "Q1 open base")
    written = deck.write(machine.topology, values, transient=True, open_lead=("Q1", "b"))
    found = deck.mains_cycle(written, ["p12", "raw", "p12_base"], 50.0, settle=0.6)
    assert found is not None
    typed = dict(re.findall(r"read supply\.yaml (\w+)=([\d.]+)", text))
    assert {net: f"{mean:.2f}" for net, (mean, _) in found.items()} == typed


# -- the runner itself ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shown", "printed", "other"),
    [
        ("", "anything\n", False),
        ("a\n...\nd\n", "a\nb\nc\nd\n", False),
        ("a\n...\nd\n", "a\nd\n", False),
        ("a ... c\n", "a b b c\n", False),
        ("a\n", "a\nb\n", True),
        ("a\n...\nd\n", "a\nb\n", True),
        ("1.0 V\n", "1x0 V\n", True),
    ],
)
def test_shown_against_printed(shown: str, printed: str, other: bool) -> None:
    assert differs(shown, printed) is other


def test_a_page_that_lies_is_caught(page: Page) -> None:
    lies = [
        "```console\n$ halfsplit check examples/hd40/pt3.yaml\nall is lost\n```\n",
        "```console\n$ halfsplit check none.yaml\n```\n",
        "```console\n$ rm -r /\n```\n",
        "```python\nassert False\n```\n",
        "```python\nprint(1)\n#: 2\n```\n",
        "```yaml\nassembly: nameless\n```\n",
        "```sh\nls\n```\n",
    ]
    for lie in lies:
        assert len(page.follow(lie)) == 1, lie


# -- the site -------------------------------------------------------------------------------------


@cache
def built(folder: Path) -> Path:
    ran = subprocess.run(
        [sys.executable, str(DOCS / "build.py"), str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return folder


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(tmp_path_factory.mktemp("site"))


class Fetched(HTMLParser):
    """Addresses a browser would ask by itself; links a person follows are left out."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            plain = tag == "a" or (tag == "link" and ("rel", "canonical") in attrs)
            if name in ("src", "href", "data", "poster", "srcset", "action") and not plain:
                self.found.append(value or "")


def test_the_site_asks_nobody(site: Path) -> None:
    pages = list(site.rglob("*.html"))
    assert len(pages) > len(PAGES) + len(REGISTRY.kinds)
    for file in pages:
        parser = Fetched()
        parser.feed(file.read_text(encoding="utf-8"))
        outside = [a for a in parser.found if re.match(r"(?:[a-z]+:)?//", a)]
        assert outside == [], file
    for file in [*site.rglob("*.css"), *site.rglob("*.js")]:
        text = file.read_text(encoding="utf-8")
        assert not re.search(r"(?:url\(|@import|fetch\(|src\s*=)\s*['\"]?(?:https?:)?//", text), (
            file
        )


def test_the_site_has_every_kind_and_every_command(site: Path) -> None:
    commands_page = (site / "commands.html").read_text(encoding="utf-8")
    for name in app:
        if not name.startswith("-"):
            assert f">{name}<" in commands_page, name
    for name, kind in REGISTRY.kinds.items():
        text = (site / "kinds" / f"{name}.html").read_text(encoding="utf-8")
        assert "<svg" in text and "failures in a million hours" in text
        for field in kind.model_fields:
            assert (
                field in ("ref", "kind")
                or f">{field.rstrip('_')}<" in text
                or (f">{field}<" in text)
            ), (name, field)


def test_links_between_pages_lead_somewhere(site: Path) -> None:
    for file in site.rglob("*.html"):
        for address in re.findall(r'href="([^"#:?]+)(?:[#?][^"]*)?"', file.read_text("utf-8")):
            assert (file.parent / address).resolve().exists(), (file.name, address)


def test_numbers_of_the_cautions_are_the_programs() -> None:
    made = _made()
    assert made.cautions("above {{TOUCH_VOLTS}} V") == "above 60 V"
    with pytest.raises(KeyError):
        made.cautions("{{NONESUCH}}")
    assert len(set(re.findall(r"\{\{(\w+)\}\}", text_of("hazards")))) >= 4


def _made() -> ModuleType:
    spec = importlib.util.spec_from_file_location("made_pages", DOCS / "made.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
