"""An HTTP and WebSocket client of our own, after RFC 9110 and RFC 6455: loopback only."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import socket
import struct
from typing import Any

GUID = "258EAFA5-E914-47DA-95CA-C5AB0DC85B11"  # RFC 6455, 1.3
TEXT, BINARY, CLOSE, PING, PONG = 1, 2, 8, 9, 10  # RFC 6455, 5.2
WAIT_S = 10.0


def _request(sock: socket.socket, lines: list[str]) -> tuple[int, dict[str, str]]:
    """Status and fields of the answer; status 0 if the server hangs up."""
    sock.sendall(("\r\n".join(lines) + "\r\n\r\n").encode("utf-8", "surrogateescape"))
    head = b""
    while b"\r\n\r\n" not in head:
        part = sock.recv(1)
        if not part:
            return 0, {}
        head += part
    first, *fields = head.decode("latin-1").strip().split("\r\n")
    told = {n.strip().lower(): v.strip() for n, _, v in (f.partition(":") for f in fields)}
    return int(first.split()[1]), told


def get(
    port: int,
    path: str = "/",
    host: str | None = None,
    origin: str | None = None,
    method: str = "GET",
) -> tuple[int, dict[str, str], bytes]:
    """Status, fields and content of one request; status 0 if the server hangs up."""
    with socket.create_connection(("127.0.0.1", port), WAIT_S) as sock:
        lines = [
            f"{method} {path} HTTP/1.1",
            f"Host: {host or f'localhost:{port}'}",
            "Connection: close",
        ]
        lines += [f"Origin: {origin}"] if origin else []
        status, fields = _request(sock, lines)
        body = b""
        while status and (part := sock.recv(65536)):
            body += part
    return status, fields, body


def knocked(port: int, **how: Any) -> int:
    """The status that a WebSocket gets; see Viewer."""
    with Viewer(port, **how) as one:
        return one.status


class Viewer:
    """One WebSocket to the wall; `status` is 101 if the server took it."""

    def __init__(
        self,
        port: int,
        path: str = "/live",
        host: str | None = None,
        origin: str | None = None,
        small: bool = False,
    ) -> None:
        self.sock = socket.socket()
        if small:  # a viewer that cannot hold much
            self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        self.sock.settimeout(WAIT_S)
        self.sock.connect(("127.0.0.1", port))
        key = base64.b64encode(os.urandom(16)).decode()
        lines = [
            f"GET {path} HTTP/1.1",
            f"Host: {host or f'localhost:{port}'}",
            "Upgrade: websocket",
            "Connection: Upgrade",
            f"Sec-WebSocket-Key: {key}",
            "Sec-WebSocket-Version: 13",
        ]
        origin = f"http://{host or f'localhost:{port}'}" if origin is None else origin
        lines += [f"Origin: {origin}"] if origin else []
        self.status, fields = _request(self.sock, lines)
        if self.status == 101:
            answer = base64.b64encode(hashlib.sha1((key + GUID).encode()).digest()).decode()
            assert fields["sec-websocket-accept"] == answer

    def frame(self, kind: int, content: bytes, end: bool = True, masked: bool = True) -> None:
        """Send one frame, right or wrong."""
        size = len(content)
        head = bytes([(0x80 if end else 0) | kind])
        bit = 0x80 if masked else 0
        if size < 126:
            head += bytes([bit | size])
        else:
            head += bytes([bit | 127]) + struct.pack(">Q", size)
        mask = os.urandom(4) if masked else b""
        if masked:
            long = (mask * (size // 4 + 1))[:size]
            content = bytes(a ^ b for a, b in zip(content, long, strict=True))
        self.sock.sendall(head + mask + content)

    def tell(self, message: object) -> None:
        """Send a message as JSON."""
        self.frame(TEXT, json.dumps(message).encode())

    def _take(self, count: int) -> bytes:
        got = b""
        while len(got) < count:
            part = self.sock.recv(count - len(got))
            if not part:
                raise ConnectionResetError
            got += part
        return got

    def hear(self) -> tuple[int, Any]:
        """The next whole message: (TEXT, JSON), (BINARY, bytes) or (CLOSE, code).

        Answers pings that come before it.
        """
        kind, content = 0, b""
        while True:
            a, b = self._take(2)
            size = b & 0x7F
            if size == 126:
                size = struct.unpack(">H", self._take(2))[0]
            elif size == 127:
                size = struct.unpack(">Q", self._take(8))[0]
            part = self._take(size)
            if a & 0x0F == PING:
                self.frame(PONG, part)
                continue
            if a & 0x0F == PONG:
                continue
            kind, content = (a & 0x0F) or kind, content + part
            if not a & 0x80:
                continue
            if kind == TEXT:
                return TEXT, json.loads(content)
            if kind == CLOSE:
                return CLOSE, struct.unpack(">H", content[:2])[0] if content else 1005
            return BINARY, content

    def picture(self) -> bytes:
        """The next picture, acknowledged."""
        while True:
            kind, content = self.hear()
            if kind == CLOSE:
                raise ConnectionResetError(content)
            if kind == BINARY:
                self.tell({"seen": struct.unpack(">Q", content[:8])[0]})
                return bytes(content[8:])

    def __enter__(self) -> Viewer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Hang up without a word."""
        self.sock.close()
