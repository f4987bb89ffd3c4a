"""Servers on this computer that messages are sent to: they take them in, refuse, or hang."""

import json
import socket
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass
class Taken:
    """An endpoint: where it is, what it answers, and what came in."""

    port: int = 0
    status: int = 200
    location: str = ""
    bodies: list[str] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}/secret-topic"

    @property
    def documents(self) -> list[dict[str, Any]]:
        return [json.loads(body) for body in self.bodies]


@contextmanager
def http_endpoint() -> Iterator[Taken]:
    """Run an HTTP server that keeps what is posted to it."""
    taken = Taken()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            taken.bodies.append(self.rfile.read(length).decode())
            taken.headers.append(dict(self.headers))
            self.send_response(taken.status)
            if taken.location:
                self.send_header("Location", taken.location)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None: ...

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    taken.port = server.server_port
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield taken
    finally:
        server.shutdown()
        server.server_close()


@contextmanager
def hanging_endpoint() -> Iterator[int]:
    """Run a server that takes everything in and never answers."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(20)
        yield int(server.getsockname()[1])


@contextmanager
def mail_endpoint() -> Iterator[tuple[int, list[str]]]:
    """Run a mail server (RFC 5321, as little of it as a mail needs) that keeps the mails."""
    mails: list[str] = []

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.wfile.write(b"220 here\r\n")
            while line := self.rfile.readline():
                verb = line.strip().upper()
                if verb == b"DATA":
                    self.wfile.write(b"354 go on\r\n")
                    kept = []
                    while (row := self.rfile.readline()) != b".\r\n":
                        kept.append(row.decode())
                    mails.append("".join(kept))
                self.wfile.write(b"250 well\r\n" if verb != b"QUIT" else b"221 bye\r\n")
                if verb == b"QUIT":
                    return

    server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield int(server.server_address[1]), mails
    finally:
        server.shutdown()
        server.server_close()
