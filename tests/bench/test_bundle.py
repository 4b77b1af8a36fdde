"""Machines handed on as archives: what goes in, what comes out, and what is never let through."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from halfsplit.assembly.file import load
from halfsplit.bench.bare_picture import bare
from halfsplit.bench.bundle import MOST_FILES, Item, manifest, name_fault, sort_of_name
from halfsplit.bench.gating import known
from halfsplit.bench.noting import Noter
from halfsplit.bench.packing import archive, clean, gather, write
from halfsplit.bench.pinning import add_picture, put_pin
from halfsplit.bench.session import Session
from halfsplit.bench.unpacking import unpack
from halfsplit.journal import Journal, journal_path
from halfsplit.problems import HalfsplitError, ProblemsError

SMALL = """\
assembly: Bench five
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.2R, pos: raw, neg: com}
  R1: {kind: resistor, value: 4k7, tolerance: 5%, power: 0.25W, a: raw, b: p5}
  R2: {kind: resistor, value: 3k3, tolerance: 5%, power: 0.25W, a: p5, b: com}
  C1: {kind: electrolytic, value: 4700u, volts: 40V, pos: raw, neg: com}
rails:
  P5: {net: p5, limits: 4.75..5.25V}
"""


def photo(kind: str = "JPEG", size: tuple[int, int] = (64, 48), **kept: object) -> bytes:
    out = io.BytesIO()
    Image.radial_gradient("L").resize(size).convert("RGB").save(out, kind, **kept)
    return out.getvalue()


def placed(orientation: int = 1) -> Image.Exif:
    notes = Image.Exif()
    notes[0x010F] = "camera of somebody"
    notes[0x0112] = orientation
    notes.get_ifd(0x8825)[1] = "N"
    notes.get_ifd(0x8825)[2] = (52.0, 31.0, 12.0)
    return notes


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """A machine with a picture, pins, a pattern of its own, and a journal with words in it."""
    home = tmp_path / "home"
    home.mkdir()
    file = home / "tray.yaml"
    file.write_text(SMALL)
    assembly = load(file)[0]
    assert assembly is not None
    name, _ = add_picture(assembly, photo(exif=placed()), "front")
    put_pin(assembly, name, 0.4, 0.2, net="p5")
    with Journal.open(journal_path(file)) as journal, Session(file, journal=journal) as bench:
        bench.read("p5", "1.10")
        bench.observe("my neighbour Hobson soldered here", "R1", touched=True)
        bench.prove("R1", False, "reads open, says Hobson")
        bench.set_condition(bench.condition_from("off", None))
        bench.note_bringup("discharge", "C1", {"volts": 0.2, "passed": True})
        bench.note("override", {"gate": "fuses to drawing", "why": "Hobson said so"})
        bench.note("trip", {"rail": "P5", "volts": 6.2})
    return file


def zipped(files: dict[str, bytes], *, listed: dict[str, bytes] | None = None) -> bytes:
    """An archive as `pack` makes it, or with a manifest that lists other files."""
    items = [Item(n, sort_of_name(n) or "machine", d) for n, d in (listed or files).items()]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr("bundle.json", manifest(items, "none"))
        for name, data in files.items():
            made.writestr(name, data)
    return out.getvalue()


def refused(tmp_path: Path, data: bytes, **how: bool) -> str:
    """The words an archive is refused with; nothing may be left of it."""
    tmp_path = tmp_path / "in"
    tmp_path.mkdir(exist_ok=True)
    path = tmp_path / "in.zip"
    path.write_bytes(data)
    with pytest.raises(ProblemsError) as caught:
        unpack(path, tmp_path / "out", **how)
    assert [p.name for p in tmp_path.iterdir()] == ["in.zip"]
    return str(caught.value)


# -- there and back -------------------------------------------------------------------------------


def test_a_machine_comes_out_as_it_went_in(machine: Path, tmp_path: Path) -> None:
    found = gather([machine], journal="whole")
    sorts = [i.sort for i in found.items]
    assert sorted(sorts) == ["journal", "machine", "picture", "pins"]
    size = write(found, tmp_path / "tray.zip")
    assert (tmp_path / "tray.zip").stat().st_size == size
    got = unpack(tmp_path / "tray.zip", tmp_path / "new")
    assert got.entries == {"tray.yaml": 7}
    for name in ("tray.yaml", "tray.pins.yaml"):
        assert (tmp_path / "new" / name).read_bytes() == (machine.parent / name).read_bytes()
    for path in (machine.parent / "tray.pictures").iterdir():
        there = tmp_path / "new/tray.pictures" / path.name
        assert "preview" in path.name or there.read_bytes() == path.read_bytes()
        assert there.exists()
    with (
        Journal.open(journal_path(machine)) as there,
        Journal.open(journal_path(tmp_path / "new/tray.yaml")) as here,
    ):
        before, after = there.history(), here.history()
    assert after[:-1] == before and after[-1].kind == "unpacked"
    assert got.files == tuple(
        sorted(
            p.relative_to(tmp_path / "new").as_posix()
            for p in (tmp_path / "new").rglob("*.*")
            if p.is_file() and p.suffix != ".lock"
        )
    )


def test_the_same_files_give_the_same_bytes(machine: Path) -> None:
    first = archive(gather([machine], journal="whole"))
    (machine.parent / "tray.yaml").touch()
    assert archive(gather([machine], journal="whole")) == first
    machine.write_text(SMALL + "# another\n")
    assert archive(gather([machine], journal="whole")) != first


def test_what_another_bench_proved_opens_nothing_here(machine: Path, tmp_path: Path) -> None:
    with Noter(machine) as bench:
        assert bench.discharged() == {"C1": 0.2}
    write(gather([machine], journal="whole"), tmp_path / "tray.zip")
    unpack(tmp_path / "tray.zip", tmp_path / "new")
    with Session(tmp_path / "new/tray.yaml") as bench:
        assert bench.discharged() == {}
        found = known(bench)
        assert not found.trips and not found.overrides
        assert len(bench.evidence()) == 1 and bench.proofs() == [("R1", False)]


def test_a_journal_without_notes_has_none_of_the_words(machine: Path, tmp_path: Path) -> None:
    found = gather([machine], journal="without-notes")
    data = archive(found)
    assert b"Hobson" not in data and b"neighbour" not in data
    (tmp_path / "t.zip").write_bytes(data)
    got = unpack(tmp_path / "t.zip", tmp_path / "new")
    assert got.entries == {"tray.yaml": 6}
    with Noter(tmp_path / "new/tray.yaml") as bench:
        assert [e.value for e in bench.evidence()] == [1.1]
        assert bench.proofs() == [("R1", False)] and bench.touched == ["R1"]


def test_nothing_of_the_journal_goes_along_unasked(machine: Path) -> None:
    found = gather([machine])
    assert "journal" not in [i.sort for i in found.items]
    assert any("7 entries" in words for words in found.stays)


def test_patterns_and_markings_it_uses_go_along_and_no_others(tmp_path: Path) -> None:
    part = "kind: resistor, value: 1k, power: 0.25W"
    pattern = (
        "pattern: {0}\nis: A divider.\nwhy: common practice, no published source\n"
        "nets:\n  in: what feeds it\n  out: its middle\nparts:\n"
        f"  up: {{{{is: upper, {part}, a: in, b: out}}}}\n"
        f"  low: {{{{is: lower, {part}, a: out, b: common}}}}\n"
    )
    (tmp_path / "mine.pattern.yaml").write_text(pattern.format("mine"))
    (tmp_path / "other.pattern.yaml").write_text(pattern.format("other"))
    says = "{type: 2N3906, says: notes, confidence: likely}"
    (tmp_path / "house-numbers.yaml").write_text(f'"HM-2207": {says}\n')
    file = tmp_path / "tray.yaml"
    placed_here = "patterns:\n  d: {pattern: mine, in: raw, out: o, up: R8, low: R9}\n"
    file.write_text(SMALL + placed_here)
    assert [i.name for i in gather([file]).items] == ["tray.yaml", "mine.pattern.yaml"]
    marked = "parts:\n  Q1: {type: HM-2207, c: o, b: p5, e: raw}\n"
    file.write_text((SMALL + placed_here).replace("parts:\n", marked, 1))
    assert {i.name for i in gather([file]).items} >= {"house-numbers.yaml"}


def test_a_place_in_a_photo_stays_here_and_its_pixels_do_not_change() -> None:
    tagged = photo(exif=placed(), comment=b"at home") + b"and more behind the end"
    assert b"camera of somebody" in tagged
    data, said = clean(tagged)
    assert b"camera" not in data and b"at home" not in data and not data.endswith(b"end")
    assert "taken out" in said
    with Image.open(io.BytesIO(data)) as less, Image.open(io.BytesIO(tagged)) as all_:
        assert not less.getexif() and less.tobytes() == all_.tobytes()
    assert bare(data) == data
    progressive = photo(progressive=True, exif=placed())
    with Image.open(io.BytesIO(bare(progressive))) as less:
        assert less.tobytes() == Image.open(io.BytesIO(progressive)).tobytes()
    png = photo("PNG", exif=placed())
    with Image.open(io.BytesIO(bare(png))) as less:
        assert less.tobytes() == Image.open(io.BytesIO(png)).tobytes()
    assert b"eXIf" in png and b"eXIf" not in bare(png)


def test_a_photo_held_sideways_is_turned_before_its_notes_go() -> None:
    data, said = clean(photo(exif=placed(6)))
    with Image.open(io.BytesIO(data)) as turned:
        assert turned.size == (48, 64) and not turned.getexif()
    assert "turned upright" in said


# -- hostile --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "../tray.yaml", "/tray.yaml", "a/../../tray.yaml", "C:tray.yaml", "..\\tray.yaml",
        "con.yaml",
        "LPT1.yaml", "aux.pins.yaml", "tray.yaml ", "tray.yaml.", ".tray.yaml", "a\nb.yaml",
        "x" * 90 + ".yaml",
        "\u202eyart.yaml", "e\u0301.yaml", "a/b/c.yaml", "a//b.yaml", "tray:x.yaml",
    ],
)  # fmt: skip
def test_a_name_that_could_do_harm_is_refused(name: str, tmp_path: Path) -> None:
    assert name_fault(name)
    words = refused(tmp_path, zipped({"tray.yaml": SMALL.encode(), name: b"a: 1\n"}))
    assert "its name" in words or "damaged" in words


@pytest.mark.parametrize(
    ("mode", "said"), [(0o120777, "a link"), (0o060644, "device"), (0o010644, "device")]
)
def test_links_and_devices_are_refused(mode: int, said: str, tmp_path: Path) -> None:
    data = zipped({"tray.yaml": SMALL.encode()})
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            info.external_attr = mode << 16
            new.writestr(info, b"/etc/passwd" if info.filename != "bundle.json" else old.read(info))
    assert said in refused(tmp_path, out.getvalue())


def two(first: str, second: str) -> bytes:
    return zipped({"tray.yaml": SMALL.encode(), first: b"x: 1", second: b"x: 1"})


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: two("b.yaml", "B.yaml"), "only in case"),
        (lambda: two("patterns/a.yaml", "PATTERNS/b.yaml"), "case"),
        (lambda: two("ﬁ.yaml", "fi.yaml"), "only in case"),
        (lambda: zipped({"tray.yaml": SMALL.encode(), "a.exe": b"MZ"}), "no file of a machine"),
        (lambda: zipped({"x.yaml": b"a: 1\n"}, listed={"x.yaml": b"a: 2\n"}), "content hash"),
        (lambda: zipped({"x.yaml": b"a: 1\n"}, listed={"y.yaml": b"a: 1\n"}), "list of contents"),
        (lambda: zipped({"x.pins.yaml": b"pins: []\n"}), "no machine"),
        (lambda: b"", "no archive"),
        (lambda: b"PK\5\6" + b"\0" * 18, "does not say"),
        (lambda: zipped({"x.yaml": b"a"})[:-30], "no archive"),
        (lambda: b"#!/bin/sh\n" + zipped({"x.yaml": b"a"}), "before or after"),
        (lambda: zipped({"x.yaml": b"a"}) + b"more", "no archive"),
        (lambda: zipped({f"x{k}.yaml": b"a" for k in range(MOST_FILES + 1)}), "lists"),
    ],
)
def test_odd_archives_are_refused(make: Callable[[], bytes], said: str, tmp_path: Path) -> None:
    words = refused(tmp_path, make())
    assert said in words, words


def test_a_name_twice_is_refused(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr("bundle.json", manifest([Item("a.yaml", "machine", b"a")], "none"))
        made.writestr("a.yaml", b"a")
        with pytest.warns(UserWarning, match="Duplicate"):
            made.writestr("a.yaml", b"b")
    assert "twice" in refused(tmp_path, out.getvalue())


def test_an_archive_made_to_burst_is_refused_unread(tmp_path: Path) -> None:
    for size, said in ((300_000, "burst"), (80_000_000, "is the most")):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
            made.writestr("bundle.json", manifest([], "none"))
            made.writestr("tray.yaml", b"\0" * size)
        assert said in refused(tmp_path, out.getvalue())


def test_a_file_longer_than_its_header_says_is_not_read_to_its_end(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("bundle.json", manifest([], "none"))
        made.writestr("tray.yaml", b"a" * 5_000_000)
    data = bytearray(out.getvalue())
    at = data.rfind(b"PK\x01\x02")
    struct.pack_into("<L", data, at + 24, 900)  # what it is said to unpack to
    words = refused(tmp_path, bytes(data))
    assert "damaged" in words or "burst" in words


def test_files_over_one_another_are_refused(tmp_path: Path) -> None:
    data = bytearray(zipped({"tray.yaml": SMALL.encode(), "b.yaml": b"x: 1"}))
    entries = [k for k in range(len(data)) if data[k : k + 4] == b"PK\x01\x02"]
    struct.pack_into("<L", data, entries[2] + 42, 0)  # begins where the first one does
    assert "over one another" in refused(tmp_path, bytes(data))


def test_a_picture_is_told_by_what_is_in_it(tmp_path: Path) -> None:
    name = "0" * 32
    for suffix, data in (("jpg", photo("PNG")), ("png", b"<svg/>"), ("jpg", photo()[:300])):
        files = {"tray.yaml": SMALL.encode(), f"tray.pictures/{name}.{suffix}": data}
        words = refused(tmp_path, zipped(files))
        assert "is none" in words or "cut short" in words or "damaged" in words


def test_what_a_picture_carries_besides_is_taken_out_and_said(tmp_path: Path) -> None:
    name = f"tray.pictures/{'0' * 32}.jpg"
    path = tmp_path / "in.zip"
    path.write_bytes(zipped({"tray.yaml": SMALL.encode(), name: photo(exif=placed()) + b"PK\5\6"}))
    got = unpack(path, tmp_path / "new")
    assert got.notes and b"camera" not in (tmp_path / "new" / name).read_bytes()


BOMB = "a: &a [x, x, x]\nb: &b [*a, *a, *a]\nassembly: [*b, *b, *b]\n"


@pytest.mark.parametrize("text", [BOMB, "assembly: " + "[" * 3000, "a: " + "{b: " * 3000, "\0", ""])
def test_yaml_made_to_burst_is_refused(text: str, tmp_path: Path) -> None:
    assert "tray.yaml" in refused(tmp_path, zipped({"tray.yaml": text.encode()}))


def test_files_with_errors_come_out_only_when_asked_for(tmp_path: Path) -> None:
    data = zipped({"tray.yaml": SMALL.replace("4k7", "4q7").encode()})
    assert "in.zip/tray.yaml:4" in refused(tmp_path, data)
    path = tmp_path / "x.zip"
    path.write_bytes(data)
    got = unpack(path, tmp_path / "new", with_errors=True)
    assert any(p.severity == "error" for p in got.problems)
    assert "4q7" in (tmp_path / "new/tray.yaml").read_text()


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("observe", {"text": "x"}),
        ("observe", {"text": "x", "part": "R1", "touched": 1, "sign": "", "found": {}}),
        ("prove", {"part": "R99", "good": True, "text": "x"}),
        ("read", {"net": "p5"}),
        ("trip", {"rail": "P5", "volts": "much"}),
        ("discharge", {"part": "C1", "volts": None, "passed": True}),
        ("nonesuch", {}),
        ("factor", {"of": "r1", "factor": [1]}),
        ("meter", {"meter": {"ohms": "ten"}}),
        ("condition", {"condition": {"feed": "nonesuch"}}),
        ("condition", {"condition": {"feed": "off", "changes": [5]}}),
        (
            "protect",
            {"part": "R1", "rail": "P5", "passed": True, "condition": {}, "test": "crowbar"},
        ),
    ],
)
def test_an_entry_that_makes_no_sense_is_told_before_it_is_in_force(
    kind: str, body: dict[str, object], tmp_path: Path
) -> None:
    row = {"seq": 1, "at": "2026-11-01T10:00:00+00:00", "kind": kind, "key": None, "body": body}
    document = json.dumps({"halfsplit_journal": 1, "entries": [row]}).encode()
    files = {"tray.yaml": SMALL.encode(), "tray.journal.json": document}
    assert "tray.journal.json" in refused(tmp_path, zipped(files))


@pytest.mark.parametrize(
    "text", [b"", b"[]", b"[" * 90_000, b"SQLite format 3\0", b'{"entries": 3}']
)
def test_a_journal_that_is_none_is_refused(text: bytes, tmp_path: Path) -> None:
    files = {"tray.yaml": SMALL.encode(), "tray.journal.json": text}
    assert "tray.journal.json" in refused(tmp_path, zipped(files))


def test_nothing_is_unpacked_over_other_files(machine: Path, tmp_path: Path) -> None:
    path, target = tmp_path / "in.zip", tmp_path / "new"
    path.write_bytes(archive(gather([machine])))
    target.mkdir()
    (target / "mine").touch()
    with pytest.raises(ProblemsError, match="already"):
        unpack(path, target)
    assert [p.name for p in target.iterdir()] == ["mine"]
    (target / "mine").unlink()
    link = tmp_path / "link"
    link.symlink_to(target)
    with pytest.raises(ProblemsError):
        unpack(path, link)
    assert unpack(path, target).folder == target  # an empty one is taken


def test_an_archive_is_never_written_over_a_file(machine: Path) -> None:
    with pytest.raises(HalfsplitError, match="already"):
        write(gather([machine]), machine)
