"""Meters to talk to without any hardware: a SCPI meter on a loopback socket, a meter on a pty."""

from __future__ import annotations

import os
import socket
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

IDN = "TEST,LOOPBACK DMM,0001,1.0"
FUNCTIONS = {
    "CONF:VOLT:DC": "VOLT",
    "CONF:VOLT:AC": "VOLT:AC",
    "CONF:CURR:DC": "CURR",
    "CONF:RES": "RES",
    "CONF:FREQ": "FREQ",
}


class Scpi:
    """A meter's own side. `reading` gives the answer to READ?; `delays` are taken one a reading."""

    def __init__(self, reading: Callable[[], str] = lambda: "+4.98210000E+00") -> None:
        self.reading = reading
        self.function = "VOLT"
        self.error = '+0,"No error"'
        self.delays: list[float] = []
        self.heard: list[str] = []
        self.connections = 0
        self.die_at_read = 0
        self.reads = 0

    def answer(self, command: str) -> str | None:
        """What it says to a line; None for nothing, EOFError when it dies."""
        self.heard.append(command)
        if command == "*IDN?":
            return IDN
        if command == "*CLS":
            self.error = '+0,"No error"'
        elif command.startswith("CONF:"):
            if command in FUNCTIONS:
                self.function = FUNCTIONS[command]
            else:
                self.error = '-113,"Undefined header"'
        elif command == "SYST:ERR?":
            return self.error
        elif command == "FUNC?":
            return f'"{self.function}"'
        elif command == "READ?":
            self.reads += 1
            if self.reads == self.die_at_read:
                raise EOFError
            text = self.reading()
            if self.delays:
                time.sleep(self.delays.pop(0))
            return text
        return None


@contextmanager
def lan(meter: Scpi) -> Iterator[str]:
    """The meter on a loopback socket; yields its VISA resource string."""
    server = socket.create_server(("127.0.0.1", 0))
    open_sockets: list[socket.socket] = []

    def shut() -> None:
        with suppress(OSError):
            server.shutdown(socket.SHUT_RDWR)  # wakes the thread that waits in accept
        server.close()

    def serve(client: socket.socket) -> None:
        held = b""
        try:
            while came := client.recv(4096):
                held += came
                while b"\n" in held:
                    line, _, held = held.partition(b"\n")
                    said = meter.answer(line.decode().strip())
                    if said is not None:
                        client.sendall(said.encode() + b"\n")
        except EOFError:
            shut()  # the whole meter dies
        except OSError:
            pass
        client.close()

    def accept() -> None:
        while True:
            try:
                client, _ = server.accept()
            except OSError:
                return
            meter.connections += 1
            open_sockets.append(client)
            threading.Thread(target=serve, args=(client,), daemon=True).start()

    threading.Thread(target=accept, daemon=True).start()
    try:
        yield f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET"
    finally:
        shut()
        for client in open_sockets:
            client.close()


@contextmanager
def pty() -> Iterator[tuple[int, str]]:
    """The meter's end of a serial line, and the name of ours."""
    machine, ours = os.openpty()
    tty.setraw(ours)
    os.set_blocking(machine, True)
    try:
        yield machine, os.ttyname(ours)
    finally:
        for end in (machine, ours):
            with suppress(OSError):
                os.close(end)


def wait(until: Callable[[], object], seconds: float = 10.0) -> bool:
    """Whether it came true in time; tests that wait for a thread go on as soon as it did."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if until():
            return True
        time.sleep(0.01)
    return bool(until())
