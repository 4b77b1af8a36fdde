"""Uploads: what is let in is what its bytes say, within the size, under a name made here."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.problems import ProblemsError
from halfsplit.web.uploads import let_in, place_in, shown_name

PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40
JPEG = b"\xff\xd8\xff\xe1" + b"\0" * 40
WEBP = b"RIFF\x24\0\0\0WEBPVP8 " + b"\0" * 20
CSV = b"time,volts\n0.0,1.2\n0.1,1.3\n"
SVG = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
HTML = b"<!doctype html><script>1,2</script>"


@pytest.mark.parametrize(
    ("name", "data", "kind"),
    [("a.png", PNG, "png"), ("a.txt", JPEG, "jpeg"), ("a", WEBP, "webp"), ("c.csv", CSV, "csv")],
)
def test_what_it_is_counts_not_what_it_is_called(name: str, data: bytes, kind: str) -> None:
    found = let_in(name, data, ("png", "jpeg", "webp", "csv"))
    assert found.kind == kind
    assert re.fullmatch(r"[0-9a-f]{24}\.(png|jpg|webp|csv)", found.stored)


@pytest.mark.parametrize("data", [SVG, HTML, b"MZ\x90\0", b"PK\x03\x04", b"#!/bin/sh\n", b"", CSV])
def test_a_disguised_file_is_refused(data: bytes) -> None:
    with pytest.raises(ProblemsError, match=r"photo\.png"):
        let_in("photo.png", data)


@pytest.mark.parametrize("data", [SVG, HTML, b"<b>\n1,2\n", b"a\0b,1\n", b"\xff\xfe1,2\n"])
def test_no_page_passes_as_a_table(data: bytes) -> None:
    with pytest.raises(ProblemsError):
        let_in("trace.csv", data, ("csv",))


def test_too_large_is_refused_with_its_size() -> None:
    with pytest.raises(ProblemsError, match=r"2\.0 MB is more than the 1 MB"):
        let_in("a.png", PNG + b"\0" * 2_000_000, most=1_000_000)


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\Windows\\x.png", "x.png"),
        ("/abs/y.png", "y.png"),
        ("a\0b\n.png", "ab.png"),
        ("..", "unnamed"),
        ("", "unnamed"),
        ("ü" * 500, "ü" * 120),
    ],
)
def test_a_name_is_for_people_only(name: str, shown: str) -> None:
    assert shown_name(name) == shown


def test_a_key_is_looked_up_never_joined() -> None:
    folder, good = Path("/pictures"), "0" * 24 + ".png"
    names = {"a": good, "b": "../secret", "c": "/etc/passwd"}
    assert place_in(folder, names, "a") == folder / good
    for key in ("b", "c", "../secret", good, ""):
        assert place_in(folder, names, key) is None
