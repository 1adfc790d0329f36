"""A mail server that says what a test wants, over TLS with a certificate of its own."""

from __future__ import annotations

import contextlib
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from mail_server import OPTIONS


class OddServer:
    """Answers IMAP4rev1 commands (RFC 3501) as usual, but a FETCH of a body with ``answer``."""

    def __init__(self, folder: Path, answer: bytes) -> None:
        self.answer = answer
        self.certificate = folder / "cert.pem"
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, folder / "key.pem")
        self.door = context.wrap_socket(socket.create_server(("127.0.0.1", 0)), server_side=True)
        self.port = int(self.door.getsockname()[1])
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            client, _ = self.door.accept()
            with client, client.makefile("rwb") as line:
                line.write(b"* OK ready\r\n")
                line.flush()
                for words in line:
                    tag, _, command = words.strip().partition(b" ")
                    line.write(self._reply(command) + tag + b" OK done\r\n")
                    line.flush()

    def _reply(self, command: bytes) -> bytes:
        if command == b"CAPABILITY":
            return b"* CAPABILITY IMAP4rev1\r\n"
        if command.startswith(b"EXAMINE"):
            return b"* 1 EXISTS\r\n* OK [UIDVALIDITY 1] valid\r\n"
        if b"SEARCH" in command:
            return b"* SEARCH 1\r\n"
        if b"RFC822.SIZE" in command:
            return b"* 1 FETCH (UID 1 RFC822.SIZE 900)\r\n"
        return self.answer if b"BODY.PEEK" in command else b""


@contextlib.contextmanager
def saying(folder: Path, answer: bytes) -> Iterator[OddServer]:
    """Such a server; skips where there is no openssl to make its certificate."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl, which makes the server's certificate, is not installed")
    call = [openssl, *OPTIONS, "-keyout", folder / "key.pem", "-out", folder / "cert.pem"]
    subprocess.run(call, check=True, capture_output=True)
    server = OddServer(folder, answer)
    try:
        yield server
    finally:
        server.door.close()
