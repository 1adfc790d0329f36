"""A real IMAP server (Dovecot) on the loopback interface, for as long as a test needs it."""

from __future__ import annotations

import contextlib
import mailbox
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path

import pytest

PASSWORD = "pond-water"
OPTIONS = (
    *("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
    *("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"),
)

CONFIG = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/dovecot.log
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <{folder}/cert.pem
ssl_key = <{folder}/key.pem
ssl_dh =
default_internal_user = {internal}
default_internal_group = {internal_group}
default_login_user = {login}
first_valid_uid = 1
first_valid_gid = 1
mail_location = maildir:{folder}/Mail
passdb {{
  driver = static
  args = password={password}
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={folder}
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = 0
  }}
  inet_listener imaps {{
    port = {port}
  }}
}}
service anvil {{
  chroot =
}}
service stats {{
  chroot =
}}
"""


@dataclass
class Server:
    port: int
    folder: Path
    process: subprocess.Popen[bytes]

    def deliver(self, *letters: EmailMessage) -> None:
        box = mailbox.Maildir(self.folder / "Mail")
        for letter in letters:
            box.add(letter)
        self._hand_over()

    def _hand_over(self) -> None:
        if os.geteuid() == 0:
            for path in (self.folder / "Mail", *(self.folder / "Mail").rglob("*")):
                os.chown(path, 65534, 65534)

    def names(self) -> list[str]:
        """Names of all mails with their flags: what a reader must not change."""
        box = self.folder / "Mail"
        return sorted(p.name for part in ("cur", "new") for p in (box / part).iterdir())


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _configure(folder: Path, port: int) -> Path:
    import grp
    import pwd

    root = os.geteuid() == 0
    me = pwd.getpwuid(os.geteuid()).pw_name
    group = grp.getgrgid(os.getegid()).gr_name
    text = CONFIG.format(
        folder=folder,
        port=port,
        password=PASSWORD,
        uid=65534 if root else os.geteuid(),
        gid=65534 if root else os.getegid(),
        internal="dovecot" if root else me,
        internal_group="dovecot" if root else group,
        login="dovenull" if root else me,
    )
    config = folder / "dovecot.conf"
    config.write_text(text)
    return config


@contextlib.contextmanager
def running(folder: Path) -> Iterator[Server]:
    """Start the server with an empty mailbox in ``folder``, a short path; skips where there is
    no Dovecot.
    """
    binary = shutil.which("dovecot") or shutil.which("dovecot", path="/usr/sbin:/sbin")
    openssl = shutil.which("openssl")
    if binary is None or openssl is None:
        pytest.skip("Dovecot (Debian: dovecot-imapd) and openssl are not installed")
    version = subprocess.run([binary, "--version"], capture_output=True, text=True).stdout
    if not version.startswith("2.3."):
        pytest.skip(f"the server's settings here are written for Dovecot 2.3, not {version[:8]}")
    subprocess.run(
        [openssl, *OPTIONS, "-keyout", folder / "key.pem", "-out", folder / "cert.pem"],
        check=True,
        capture_output=True,
    )
    folder.chmod(0o755)
    mailbox.Maildir(folder / "Mail")
    port = _free_port()
    process = subprocess.Popen(
        [binary, "-F", "-c", _configure(folder, port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    server = Server(port, folder, process)
    server._hand_over()
    try:
        _wait(server)
        yield server
    finally:
        process.terminate()
        process.wait()
        if process.stderr:
            process.stderr.close()


def _wait(server: Server) -> None:
    for _ in range(6000):
        if server.process.poll() is not None:
            said = server.process.stderr.read().decode() if server.process.stderr else ""
            pytest.fail(f"Dovecot did not start: {said}")
        with (
            contextlib.suppress(OSError),
            socket.create_connection(("127.0.0.1", server.port), timeout=60),
        ):
            return
        time.sleep(0.1)
    pytest.fail("Dovecot does not answer")
