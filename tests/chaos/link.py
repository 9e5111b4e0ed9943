"""One request over a link that may break at any byte."""

import json
import random
import socket

LIMIT_S = 60.0
# How a link fails: `lost` before anything was sent, `half_sent`, `unheard` (the server did it, nobody heard), `half_heard`.
BREAKS = ("lost", "half_sent", "unheard", "half_heard")


class LinkBroken(Exception):
    """No whole answer came; the phone cannot know what the server did."""


class Link:
    def __init__(self, port: int, token: str, chance: random.Random):
        self.port, self.token, self.chance = port, token, chance

    def write(self, message: dict) -> bytes:
        return json.dumps(message).encode()

    def ask(self, method: str, path: str, body: bytes, fault: str = "", kill_at: int = 0) -> tuple[int, dict]:
        """Status and JSON of the answer. *Raises* LinkBroken."""
        if fault == "lost":
            raise LinkBroken
        head = (
            f"{method} {path} HTTP/1.1\r\nHost: chaos\r\nAuthorization: Bearer {self.token}\r\nConnection: close\r\n"
            f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\nX-Chaos-Kill: {kill_at}\r\n\r\n"
        )
        data = head.encode() + body
        try:
            with socket.create_connection(("127.0.0.1", self.port), LIMIT_S) as wire:
                if fault == "half_sent":
                    wire.sendall(data[: self.chance.randrange(len(data))])
                    raise LinkBroken
                wire.sendall(data)
                if fault == "unheard":
                    raise LinkBroken
                return self.read(wire, fault)
        except OSError:
            raise LinkBroken from None

    def read(self, wire: socket.socket, fault: str) -> tuple[int, dict]:
        heard = b""
        while part := wire.recv(65_536):
            heard += part
            if fault == "half_heard" and self.chance.random() < 0.7:
                raise LinkBroken
        head, _, body = heard.partition(b"\r\n\r\n")
        try:
            status = int(head.split(b" ", 2)[1])
            return status, json.loads(body)
        except (ValueError, IndexError):
            raise LinkBroken from None
