"""A mail server for a test: one conversation after another, as RFC 5321 has them, kept for looking at."""

from __future__ import annotations

import socket
import threading
from dataclasses import dataclass, field


@dataclass
class MailServer:
    """said: every verb it was told; mails: (from, to, text) of each that it took; refuses: verbs it says no to."""

    refuses: frozenset[str] = frozenset()
    said: list[str] = field(default_factory=list)
    mails: list[tuple[str, list[str], str]] = field(default_factory=list)

    def __enter__(self) -> MailServer:
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = self._socket.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        # Closing alone does not wake whoever waits for the next caller.
        self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(5)

    def _serve(self) -> None:
        while True:
            try:
                caller, _address = self._socket.accept()
            except OSError:
                return
            with caller, caller.makefile("rwb") as line:
                self._talk(line)

    def _talk(self, line) -> None:
        def answer(text: str) -> None:
            line.write(text.encode() + b"\r\n")
            line.flush()

        sender, to = "", []
        answer("220 mail.example ready")
        while words := line.readline().decode().rstrip("\r\n"):
            verb = words.split()[0].upper()
            self.said.append(verb)
            if verb in self.refuses:
                answer(f"550 no, and you said {words}")
            elif verb == "EHLO":
                answer("250-mail.example\r\n250 AUTH PLAIN LOGIN")
            elif verb == "AUTH":
                answer("235 welcome")
            elif verb == "MAIL":
                sender, to = words.partition(":")[2], []
                answer("250 go on")
            elif verb == "RCPT":
                to.append(words.partition(":")[2])
                answer("250 go on")
            elif verb == "DATA":
                answer("354 tell")
                text = []
                while (told := line.readline().decode()) != ".\r\n":
                    text.append(told.removeprefix(".") if told.startswith("..") else told)
                self.mails.append((sender, to, "".join(text)))
                answer("250 taken")
            elif verb == "QUIT":
                answer("221 goodbye")
                return
            else:
                answer("250 well")
