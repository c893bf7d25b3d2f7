"""A mail server for tests, after RFC 5321: it takes what it is given, and can kill the sender at the worst of moments.

Python's own left the standard library with 3.12; what Django's sender says is all that this one knows.
"""

from __future__ import annotations

import os
import re
import signal
import socketserver
import threading
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager, suppress


class MailServer(socketserver.ThreadingTCPServer):
    """`taken`: the Message-IDs that it took, by the first word of each, in order. A sender says EHLO with its process id.

    `kills`: by that word, how many senders to kill; every other one before its letter is taken, the others after it is
    taken and before they are told so.
    """

    daemon_threads = True
    every = 4  # letters between two kills

    def __init__(self, kills: dict[str, int] | None = None):
        super().__init__(("127.0.0.1", 0), _Conversation)
        self.kills, self.lock = kills or {}, threading.Lock()
        self.taken: dict[str, list[str]] = defaultdict(list)
        self.asked: dict[str, int] = defaultdict(int)
        self.killed: dict[str, list[str]] = defaultdict(list)
        self.senders: dict[str, set[int]] = defaultdict(set)

    def receive(self, pid: int, message: str) -> bool:
        """Whether the sender lives to be told."""
        key = re.search(r"^Message-ID:\s*<(.+)@", message, re.M | re.I)[1]
        kind = key.split(".")[0]
        with self.lock:
            self.asked[kind] += 1
            self.senders[kind].add(pid)
            is_last = self.asked[kind] % self.every == 0 and len(self.killed[kind]) < self.kills.get(kind, 0)
            when = ("before", "after")[len(self.killed[kind]) % 2]
            if not is_last or when == "after":
                self.taken[kind].append(key)
            if is_last:
                self.killed[kind].append(when)
                os.kill(pid, signal.SIGKILL)
        return not is_last


class _Conversation(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        with suppress(ConnectionError):
            self._talk()

    def _talk(self) -> None:
        pid = 0
        self._say("220 test")
        while line := self.rfile.readline().decode().strip():
            verb, _, rest = line.partition(" ")
            if verb.upper() == "EHLO":
                pid = int(rest)
                self._say("250 test")
            elif verb.upper() == "DATA":
                self._say("354 go on")
                lines = iter(lambda: self.rfile.readline().decode(), ".\r\n")
                if not self.server.receive(pid, "".join(lines)):
                    return
                self._say("250 taken")
            elif verb.upper() == "QUIT":
                return self._say("221 bye")
            else:
                self._say("250 fine")

    def _say(self, line: str) -> None:
        self.wfile.write(f"{line}\r\n".encode())


@contextmanager
def mail_server(kills: dict[str, int] | None = None) -> Iterator[MailServer]:
    with MailServer(kills) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        yield server
        server.shutdown()
