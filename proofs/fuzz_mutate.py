"""Mutations of files and tables for proofs/fuzz.py: seeded, from slips of a hand to malice."""

from __future__ import annotations

from random import Random

MOST = 30_000  # bytes a mutated text may grow to; larger files are refused by their size
# What hurts readers of text and of YAML: numbers at the edge, marks of YAML, controls, scripts.
NASTY = [
    b"", b" ", b"\t", b"\0", b"\r", b"\n\n", b"{", b"}", b"[", b"]", b": ", b"- ", b"? ", b"#",
    b"&a ", b"*a", b"<<: *a", b"!!python/object:os.system x", b"!!binary aGk=", b"!!set {a}",
    b"---\n",
    b"...\n", b"%YAML 1.1\n", b"|", b">", b"'", b'"', b"\\", b"\\u0000", b"~", b"null", b"true",
    b"no",
    b"NaN", b".nan", b".inf", b"-.inf", b"1e999", b"-1e-999", b"1e308", b"0", b"-0", b"-1", b"0x1F",
    b"0o17", b"1_000", b"12:30:45", b"2026-11-28", b"99999999999999999999999999", b"1/0", b"5 %",
    b"4k7", b"4.7.7", b"..", b"4.75..", b"..5.25V", b"1e5V", b"\xff", b"\xc3", b"\xed\xa0\x80",
    "é".encode(), "Ω".encode(), "\u202e".encode(), "\ufeff".encode(), "𝟜𝟟".encode(), "٣".encode(),
    "a\u0300".encode(), b"%s%n", b"../../x", b"/etc/x", b"$(x)", b"=1+1", b"com", b"CON", b"parts",
    b"kind", b"pattern", b"assembly", b"[[[[", b"{a: {b: {c: 1}}}", b",", b";", b"\x1b[2J",
    b"E5 A=",
]  # fmt: skip


def mutate(data: bytes, rng: Random, others: list[bytes]) -> bytes:
    """`data` with one to six mutations; `others` are what pieces are borrowed from."""
    for _ in range(min(6, 1 + int(rng.expovariate(0.6)))):
        data = rng.choice(WAYS)(data, rng, others)[:MOST]
    return data


def _at(data: bytes, rng: Random) -> int:
    return rng.randint(0, len(data))


def _flip(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    if not data:
        return data
    k = rng.randrange(len(data))
    return data[:k] + bytes([data[k] ^ 1 << rng.randrange(8)]) + data[k + 1 :]


def _insert(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    k = _at(data, rng)
    return data[:k] + rng.choice(NASTY) + data[k:]


def _cut(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    a = _at(data, rng)
    return data[:a] + data[a + int(rng.expovariate(0.1)) + 1 :]


def _end(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    return data[: _at(data, rng)]


def _lines(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    rows = data.split(b"\n")
    a, b = rng.randrange(len(rows)), rng.randrange(len(rows))
    way = rng.randrange(4)
    if way == 0:
        rows[a], rows[b] = rows[b], rows[a]
    elif way == 1:
        rows.insert(b, rows[a])
    elif way == 2:
        del rows[a]
    else:
        rows[a] = b" " * rng.randint(1, 5) + rows[a]
    return b"\n".join(rows)


def _word(data: bytes, rng: Random, others: list[bytes]) -> bytes:
    """A word replaced: by something nasty, by another word of this file, or of another file."""
    words = data.split(b" ")
    k = rng.randrange(len(words))
    pool = (rng.choice(others) if others and rng.random() < 0.3 else data).split()
    words[k] = rng.choice(pool) if pool and rng.random() < 0.6 else rng.choice(NASTY)
    return b" ".join(words)


def _number(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    places = [k for k, c in enumerate(data) if 48 <= c <= 57]
    if not places:
        return data
    k = rng.choice(places)
    new = rng.choice(
        [b"", b"0", b"9", b"-", b".", b"e9", b"99999999", b"1e400", b"\xd9\xa3", b"k7"]
    )
    return data[:k] + new + data[k + 1 :]


def _value(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    """What stands behind a colon, of another shape."""
    places = [k for k in range(len(data)) if data[k : k + 2] == b": "]
    if not places:
        return data
    k = rng.choice(places) + 2
    ends = [data.find(b",", k), data.find(b"}", k), data.find(b"\n", k), len(data)]
    stop = min(i for i in ends if i >= 0)
    shapes = [b"[1, 2]", b"{a: b}", b"null", b"", b"true", b"-5", b"[]", b"{}", b'"x y"']
    new = rng.choice([*shapes, *NASTY])
    return data[:k] + new + data[stop:]


def _splice(data: bytes, rng: Random, others: list[bytes]) -> bytes:
    other = rng.choice(others) if others else data
    a, b = _at(other, rng), _at(other, rng)
    k = _at(data, rng)
    return data[:k] + other[min(a, b) : max(a, b)] + data[k:]


def _deep(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    """Brackets in brackets, or blocks in blocks."""
    k, n = _at(data, rng), rng.choice([3, 3, 40, 40, 400, 4000])
    way = rng.randrange(4)
    if way == 0:
        return data[:k] + b"[" * n + data[k:]
    if way == 1:
        return data[:k] + b"{a: " * n + data[k:]
    if way == 2:
        deep = b"\n".join(b" " * i + b"a:" for i in range(min(n, 400)))
        return data[:k] + b"\n" + deep + b"\n" + data[k:]
    return data[:k] + b"- " * n + data[k:]


def _bomb(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    """Entries that borrow entries that borrow entries, each many times."""
    n, wide = rng.randint(2, 12), rng.randint(2, 12)
    rows = ["a0: &a0 [x, x, x]"]
    for i in range(1, n):
        if rng.random() < 0.5:
            rows.append(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * wide)}]")
        else:
            rows.append(f"a{i}: &a{i} {{<<: [{', '.join([f'*a{i - 1}'] * wide)}]}}")
    k = data.find(b"\n", _at(data, rng)) + 1
    return data[:k] + "\n".join(rows).encode() + b"\n" + data[k:]


def _long(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    k, n = _at(data, rng), rng.choice([300, 300, 300, 3000, 20_000])
    piece = rng.choice([b"a", b"9", b" ", b"a ", b"1,", b"\t", b"x: ", b"R1R", b"\n"])
    return data[:k] + piece * n + data[k:]


def _again(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    """A stretch repeated, up to the size of a large machine."""
    a, b = sorted((_at(data, rng), _at(data, rng)))
    piece = data[a:b]
    most = rng.choice([500, 500, 2_000, 8_000]) // (len(piece) + 1)
    return data[:b] + piece * min(most, rng.choice([1, 3, 30, 300])) + data[b:]


def _encoded(data: bytes, rng: Random, _: list[bytes]) -> bytes:
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return data
    way = rng.randrange(6)
    if way == 0:
        return text.encode("utf-16")
    if way == 1:
        return text.encode("latin-1", "replace")
    if way == 2:
        return text.replace("\n", "\r\n").encode()
    if way == 3:
        return text.replace("\n", "\r").encode()
    if way == 4:
        return text.replace(" ", "\u00a0").encode()
    return b"\xef\xbb\xbf" + data


WAYS = [
    _flip, _flip, _insert, _insert, _insert, _cut, _cut, _end, _lines, _lines, _lines, _word, _word,
    _word, _word, _number, _number, _number, _value, _value, _value, _splice, _deep, _bomb, _long,
    _again, _encoded,
]  # fmt: skip
