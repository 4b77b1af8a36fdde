"""Targets of proofs/fuzz.py: counts from other benches, and archives of machines."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from proofs.fuzz_mutate import mutate
from proofs.fuzz_registry import TOLD, Case, target
from proofs.fuzz_seeds import CONSOLE, HOUSE, JOURNAL, MINE, PINS, SMALL

# -- pools ----------------------------------------------------------------------------------------

OUTCOMES = {
    "halfsplit_outcomes": 1,
    "contributions": [
        {
            "id": f"{k:032x}",
            "turn": 1,
            "rows": [
                {
                    "of": "tantalum",
                    "age": "45 to 59",
                    "exposed": 9,
                    "failed": 2,
                    "modes": {"short": 1},
                },
                {"of": "resistor film", "age": "not told", "exposed": 30, "failed": k, "modes": {}},
            ],
        }
        for k in range(3)
    ],
}


@target("pools", 1)
def outcomes_file(case: Case) -> None:
    """A file of outcomes, read and pooled."""
    from halfsplit.bench.pool_file import merged, read_outcomes
    from halfsplit.bench.pools import pool_dict

    data = json.dumps(OUTCOMES, indent=1).encode()
    if case.rng.random() < 0.5:
        data = case.made([data])
    else:
        document: Any = json.loads(data)
        holder: Any = document["contributions"][case.rng.randrange(3)]
        while True:
            key = case.rng.choice([*holder] if isinstance(holder, dict) else [*range(len(holder))])
            if not isinstance(holder[key], (dict, list)) or not holder[key]:
                break
            holder = holder[key]
        holder[key] = case.rng.choice([None, -1, 0, 1, 5, 10**6, 1.5, "", "x", [], {}, True, 2**70])
        data = json.dumps(document).encode()
    read = read_outcomes(case.file("o.json", data))
    json.dumps(pool_dict(*merged([("o.json", read)])), allow_nan=False)


# -- bundles --------------------------------------------------------------------------------------

NAMES = [
    "../m.yaml", "/tmp/m.yaml", "..", "a/../../m.yaml", "C:\\m.yaml", "C:m.yaml",
    "\\\\host\\m.yaml", "CON.yaml",
    "aux", "lpt1.pins.yaml", "M.yaml", "m.yaml", "m.yaml ", "m.yaml.", ".m.yaml", "m\0.yaml",
    "m\n.yaml",
    "ｍ.yaml", "m\u0301.yaml", "\u202eyaml.m", "a" * 300 + ".yaml", "a/b/c.yaml",
    "m.pictures/x.jpg", "m.journal",
    "m.journal.json", "patterns/Mine.yaml", "patterns/con.yaml", "m.pictures", "bundle.json",
    "x.exe", "m.yml",
    "M.PICTURES/0123456789abcdef0123456789abcdef.png", "~/m.yaml", "$HOME.yaml", "m:stream.yaml",
    "",
]  # fmt: skip
MODES = [0o120777, 0o060644, 0o020644, 0o010644, 0o140644, 0o040755, 0o100644, 0o104755, 0]


@cache
def image(kind: str) -> bytes:
    """A small picture, with a place and a comment in it."""
    import io

    from PIL import Image

    out = io.BytesIO()
    picture = Image.radial_gradient("L").resize((24, 18)).convert("RGB")
    notes = Image.Exif()
    notes[0x010E] = "bench of somebody"
    picture.save(out, kind, exif=notes)
    return out.getvalue()


@cache
def contents() -> dict[str, bytes]:
    """Files of a good archive."""
    name = "0123456789abcdef0123456789abcdef"
    return {
        "m.yaml": SMALL,
        "m.pins.yaml": PINS.replace(
            b"0123456789abcdef0123456789abcdef.jpg", f"{name}.jpg".encode()
        ),
        f"m.pictures/{name}.jpg": image("JPEG"),
        f"m.pictures/{name[::-1]}.png": image("PNG"),
        "m.journal.json": json.dumps(JOURNAL).encode(),
        "house-numbers.yaml": HOUSE,
        "mine.pattern.yaml": MINE,
        "console.yaml": CONSOLE,
    }


def _wrong_content(case: Case, files: dict[str, bytes]) -> None:
    name = case.rng.choice(sorted(files))
    files[name] = case.rng.choice(
        [mutate(files[name], case.rng, list(files.values())), b"", b"\0" * 4000, b"MZ\x90\0",
         image("JPEG"),
         image("PNG"), b"GIF89a", b"<svg/>", b"SQLite format 3\0" + b"\0" * 84, b"[" * 5000,
         b"PK\x03\x04"]
    )  # fmt: skip


def _wrong_name(case: Case, files: dict[str, bytes]) -> None:
    name = case.rng.choice(sorted(files))
    new = case.rng.choice(NAMES)
    if case.rng.random() < 0.4:
        new = mutate(name.encode(), case.rng, []).decode("utf-8", "replace")[:400]
    files[new] = files[name] if case.rng.random() < 0.5 else files.pop(name)


def _zipped(case: Case, files: dict[str, bytes]) -> bytes:
    """An archive of these files, its manifest right or not, its entries ordinary or not."""
    import hashlib
    import io
    import warnings
    import zipfile

    rng = case.rng
    rows: list[Any] = [
        {"name": n, "sort": "machine", "bytes": len(d), "sha256": hashlib.sha256(d).hexdigest()}
        for n, d in files.items()
    ]
    head: Any = {"halfsplit_bundle": 1, "journal": "whole", "files": rows}
    way = rng.random()
    if way < 0.05:
        head = rng.choice([None, [], {}, {"halfsplit_bundle": 2}, {**head, "files": {}}, "x"])
    elif way < 0.1 and rows:
        rows[rng.randrange(len(rows))][rng.choice(["name", "sha256"])] = rng.choice(
            ["", None, 5, "../x"]
        )
    elif way < 0.13 and rows:
        rows.pop()
    listed = [("bundle.json", json.dumps(head).encode()), *files.items()]
    if rng.random() < 0.08:
        listed.append(rng.choice(listed))
    if rng.random() < 0.03:
        listed += [(f"x{k}.yaml", b"a: 1\n") for k in range(rng.choice([100, 600]))]
    if rng.random() < 0.05:
        listed.append(("big.yaml", b"\0" * rng.choice([100_000, 3_000_000])))
    out = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as made:
        warnings.simplefilter("ignore")  # of names given twice
        for name, data in listed:
            entry = zipfile.ZipInfo(name or "x")
            entry.filename = name
            entry.external_attr = (rng.choice(MODES) if rng.random() < 0.08 else 0o100644) << 16
            entry.compress_type = (
                rng.choice([0, 8, 8]) if rng.random() < 0.5 or len(data) > 50_000 else 0
            )
            made.writestr(entry, data)
    return out.getvalue()


def _broken_zip(case: Case, data: bytes) -> bytes:
    """Single fields of headers changed, or bytes anywhere, or pieces moved."""
    rng, out = case.rng, bytearray(data)
    for _ in range(rng.randint(1, 3)):
        way = rng.randrange(5)
        marks = [
            k for m in (b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06") for k in _places(bytes(out), m)
        ]
        if way < 3 and marks:
            k = rng.choice(marks) + rng.randrange(46)
            for j in range(rng.choice([1, 2, 4])):
                if k + j < len(out):
                    out[k + j] = rng.choice([0, 1, 0xFF, rng.randrange(256)])
        elif way == 3:
            out = bytearray(mutate(bytes(out), rng, [data]))
        elif rng.random() < 0.5:
            out = bytearray(rng.randbytes(rng.randrange(1, 60))) + out
        else:
            out += rng.randbytes(rng.randrange(1, 60))
    return bytes(out)


def _places(data: bytes, mark: bytes) -> list[int]:
    found, at = [], data.find(mark)
    while at >= 0:
        found.append(at)
        at = data.find(mark, at + 1)
    return found


def _into(case: Case, data: bytes) -> TOLD:
    """Unpack within the case's folder, and hold what is there afterwards against what may be."""
    from halfsplit.bench.unpacking import unpack

    path = case.file("in.zip", data)
    other = case.file("other.txt", b"not to be touched")
    target = case.folder / "out"
    good = False
    try:
        found = unpack(path, target, with_errors=case.rng.random() < 0.3)
        good = True
    finally:
        left = {p.name for p in case.folder.iterdir()}
        assert left == {"in.zip", "other.txt"} | ({"out"} if good else set()), (
            f"left behind: {left}"
        )
        assert other.read_bytes() == b"not to be touched" and path.read_bytes() == data
        made = list(target.rglob("*")) if good else []
        assert not any(p.is_symlink() or not (p.is_file() or p.is_dir()) for p in made)
        assert all(len(p.relative_to(target).parts) <= 2 for p in made)
    return list(found.problems)


@target("bundles", 5)
def bundle_entries(case: Case) -> TOLD:
    """An archive with wrong contents, wrong names, or odd entries."""
    files = dict(contents())
    for name in case.rng.sample(sorted(files), case.rng.randint(0, 5)):
        files.pop(name)
    for _ in range(case.rng.choice([0, 1, 1, 1, 2])):
        if files:
            case.rng.choice([_wrong_content, _wrong_content, _wrong_name])(case, files)
    return _into(case, _zipped(case, files))


@target("bundles", 4)
def bundle_bytes(case: Case) -> TOLD:
    """A good archive with its bytes broken."""
    names = case.rng.sample(sorted(contents()), case.rng.randint(1, 4))
    files = {n: contents()[n] for n in {"m.yaml", *names}}
    return _into(case, _broken_zip(case, _zipped(case, files)))


@target("bundles", 1.5)
def bundle_journal(case: Case) -> TOLD:
    """A good machine with a journal of which one value is of another sort."""
    document = json.loads(json.dumps(JOURNAL))
    holder: Any = case.rng.choice(document["entries"])["body"]
    while True:
        key = case.rng.choice(
            list(holder) if isinstance(holder, dict) else list(range(len(holder)))
        )
        if not isinstance(holder[key], (dict, list)) or not holder[key] or case.rng.random() < 0.2:
            break
        holder = holder[key]
    holder[key] = case.rng.choice(
        [None, -1, 0, 1e308, "", "x", "p5", [], {}, True, 2**70, "../x", [1, 2], {"a": 1}, "R1"]
    )
    files = {"m.yaml": SMALL, "m.journal.json": json.dumps(document).encode()}
    return _into(case, _zipped(case, files))


@target("bundles", 0.5)
def packed_again(case: Case) -> TOLD:
    """Packing a folder in which anything may be wrong: nothing of it may come out but words."""
    from halfsplit.bench.packing import archive, gather

    folder = case.folder
    for name, data in contents().items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data if case.rng.random() < 0.6 else case.made([data]))
    found = gather([folder / "m.yaml", folder / "console.yaml"], journal="none")
    assert archive(found) == archive(found)
    return found.problems
