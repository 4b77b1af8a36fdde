"""Targets of proofs/fuzz.py: tables of parts, workbooks, and lines of parts as typed."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence

from proofs.fuzz_mutate import mutate
from proofs.fuzz_registry import TOLD, Case, target
from proofs.fuzz_seeds import SMALL

from halfsplit.assembly.workbook import workbook_of
from halfsplit.bench.tables import fill, look
from halfsplit.bench.typing_in import TypingIn
from halfsplit.problems import HalfsplitError

LISTS = [
    b"Ref,Value,Tol,a,b\r\nR7,4k7,1%,p5,com\r\nR8,470,,p5,com\r\nC9,100u,,p5,com\r\n",
    "Bauteil;Wert;Netz 1;Netz 2\nR7;4,7k;p5;com\nR8;4,7µ;p5;com\n".encode(),
    b"reference\tkind\ttype\tvalue\tpos\tneg\tb\tc\te\nQ7\tnpn\t2N3904\t\t\t\tx\traw\tp5\n",
    b"sep=|\nname|part|nets\nR7|4-Jul|p5 com\nC2|1E+03|raw com\n",
    b"R7 4k7 1/4W p5 com\nD1 1N4004 com raw\n",
]
BOOK = workbook_of([line.split(",") for line in LISTS[0].decode().splitlines()], "parts")
NAMES = ["R7", "C2", "Q5", "T1", "P5", "TP9", "half", "bar", "IC3A", "R", "Ω", ""]
WORDS = [
    b"4k7 1%", b"33000u 16V", b"transformer", b"2N3055", b"rail 4.75..5.25V ripple=50mV", b"7805",
    b"point C1 plus lead", b"loads p5=10R", b"crowbar", b"resistor value=1k tolerance=-20/+80%",
    b"zener 6.2V 400mW", b"relay coil=700R", b"note=\"a, b: {c}\"", b"electrolytic 100u",
]  # fmt: skip
ENDS = [b"p5", b"com", b"raw", b"pri l n 230V 4R", b"s1 sa com 15V 0.4R 2A", b"CR4 5.6V", b"P5_"]


def looked(case: Case, data: bytes) -> Sequence[object]:
    """The table looked at, and written where it can be."""
    desk = TypingIn(case.file("m.yaml", SMALL))
    comma, header = case.rng.random() < 0.3, case.rng.choice([None, None, True, False])
    columns = {case.rng.randint(0, 4): "reference"} if case.rng.random() < 0.3 else None
    found = look(desk, data, header=header, columns=columns, comma=comma)
    found.as_dict()
    fill(desk, found, leave_out=case.rng.random() < 0.7)
    assert desk.look().assembly is not None  # what was written can be read
    return found.rows


@target("parts", 4)
def parts_table(case: Case) -> None:
    """A table of parts, pasted or sent."""
    looked(case, case.made(LISTS))


@target("parts", 2)
def workbook(case: Case) -> None:
    """A workbook with its bytes broken, or those of one of its files."""
    data = BOOK
    if case.rng.random() < 0.3:
        return void(looked(case, b"PK\x03\x04" + mutate(data, case.rng, [data])[4:]))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as good, zipfile.ZipFile(out, "w") as made:
        names = good.namelist()
        broken = case.rng.choice(names)
        for name in names:
            text = good.read(name)
            made.writestr(name, mutate(text, case.rng, [text]) if name == broken else text)
    return void(looked(case, out.getvalue()))


def void(_: object) -> None:
    """Nothing."""


@target("parts", 4)
def typed_line(case: Case) -> TOLD | None:
    """A line of a part as typed, while it is typed and when it is entered."""
    desk = TypingIn(case.file("m.yaml", SMALL))
    name = case.rng.choice(NAMES)
    words = case.made(WORDS).decode("utf-8", "replace")[:2000]
    ends = [case.made(ENDS).decode("utf-8", "replace")[:300] for _ in range(case.rng.randint(0, 5))]
    desk.hear(name, words, ends)
    try:
        desk.write(name, words, ends, None)
    finally:
        assert desk.look().assembly is not None  # right or refused, the file can be read
    try:
        desk.undo()
    except HalfsplitError:
        desk.remove(name)
    return None
