"""The websocket of a running server, asked over a real connection: who gets in and who does not."""

from __future__ import annotations

import base64
import http.client
import os
import socket
import struct
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from halfsplit.web.server import MOST_MESSAGE
from tests.browser.conftest import Server

PATH = "/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
WAIT = 30  # s


@dataclass(frozen=True)
class Live:
    """A running server: where it is, and the cookie its first page handed out."""

    port: int
    cookie: str

    def headers(self, **other: str | None) -> dict[str, str]:
        """What a page of our own sends, some of it otherwise or not at all."""
        host = f"127.0.0.1:{self.port}"
        sent = {"Host": host, "Origin": f"http://{host}", "Cookie": self.cookie, **other}
        return {name: value for name, value in sent.items() if value is not None}

    def shake(self, headers: dict[str, str]) -> tuple[int, socket.socket]:
        """The status an upgrade is answered with, and the connection."""
        key = base64.b64encode(os.urandom(16)).decode()
        upgrade = {"Upgrade": "websocket", "Connection": "Upgrade"}
        upgrade |= {"Sec-WebSocket-Key": key, "Sec-WebSocket-Version": "13"}
        lines = [f"GET {PATH} HTTP/1.1"] + [f"{k}: {v}" for k, v in (headers | upgrade).items()]
        wire = socket.create_connection(("127.0.0.1", self.port), WAIT)
        wire.sendall("\r\n".join([*lines, "", ""]).encode())
        answer = b""
        while b"\r\n\r\n" not in answer and (came := wire.recv(1)):
            answer += came
        return int(answer.split(b" ", 2)[1]), wire


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """One server, on an empty shelf."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HALFSPLIT_CACHE", str(tmp_path_factory.mktemp("cache")))
        server = Server(tmp_path_factory.mktemp("shelf"))
        asked = http.client.HTTPConnection("127.0.0.1", server.port, timeout=WAIT)
        asked.request("GET", "/")
        given = asked.getresponse().getheader("set-cookie") or ""
        asked.close()
        yield Live(server.port, given.partition(";")[0])
        server.stop()


STRANGERS: dict[str, dict[str, str | None]] = {
    "no cookie": {"Cookie": None},
    "a cookie of ours with a wrong secret": {"Cookie": "{name}=" + 43 * "t"},
    "another server's cookie": {"Cookie": "{name}9=" + 43 * "t"},
    "a page from elsewhere": {"Origin": "http://elsewhere.example"},
    "another port of this machine": {"Origin": "http://127.0.0.1:1"},
    "a page with no name": {"Origin": "null"},
    "no page at all": {"Origin": None},
    "a name that is not ours": {
        "Host": "elsewhere.example",
        "Origin": "http://elsewhere.example",
    },
    "our name at another port": {"Host": "127.0.0.1:1", "Origin": "http://127.0.0.1:1"},
}


@pytest.mark.parametrize("which", STRANGERS)
def test_a_stranger_is_refused_before_the_websocket_opens(live: Live, which: str) -> None:
    name = live.cookie.partition("=")[0]
    other = {k: v and v.format(name=name) for k, v in STRANGERS[which].items()}
    status, wire = live.shake(live.headers(**other))
    with wire:
        assert name == f"halfsplit-{live.port}"
        assert status == 403
        while wire.recv(4096):  # whatever is said after it, the connection ends
            pass


def frame(text: bytes) -> bytes:
    """A text frame as a browser sends it, masked (RFC 6455, section 5.2), with a mask of nought."""
    return struct.pack("!BBQ", 0x81, 0x80 | 127, len(text)) + bytes(4) + text


def test_our_own_page_gets_in_and_a_message_too_large_ends_it(live: Live) -> None:
    status, wire = live.shake(live.headers())
    with wire:
        assert status == 101, "the refusals above would prove nothing"
        head = wire.recv(2)
        assert head[0] == 0x81 and wire.recv(1) == b"0", "the engine's greeting"
        wire.settimeout(WAIT)
        try:
            wire.sendall(frame(b"4" * (MOST_MESSAGE + 10)))
            last = b""
            while came := wire.recv(65536):
                last += came
            assert struct.pack("!H", 1009) in last  # "too big", section 7.4.1
        except ConnectionError:
            pass  # closed while it was still being sent


def test_the_address_bar_gets_the_page_and_a_foreign_name_does_not(live: Live) -> None:
    for host, wanted in ((f"127.0.0.1:{live.port}", 200), ("elsewhere.example", 403)):
        asked = http.client.HTTPConnection("127.0.0.1", live.port, timeout=WAIT)
        asked.putrequest("GET", "/", skip_host=True)
        asked.putheader("Host", host)
        asked.endheaders()
        answer = asked.getresponse()
        assert answer.status == wanted and (answer.getheader("set-cookie") is None) == (
            wanted == 403
        )
        asked.close()
