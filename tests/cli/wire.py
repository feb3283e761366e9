"""A wire between a browser and a page that a test can cut."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress
from types import TracebackType


class Wire:
    """Passes on what comes at a port of its own; once cut, every line breaks and no new one holds."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])
        self._lines: list[socket.socket] = []
        self._cut = False
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Break every line."""
        self._cut = True
        for line in self._lines:
            with suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        """Let new lines hold again."""
        self._cut = False

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self._listening.accept()
                if self._cut:
                    near.close()
                    continue
                far = socket.create_connection(("127.0.0.1", self._to))
                self._lines += [near, far]
                for one, other in ((near, far), (far, near)):
                    threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while chunk := one.recv(65536):
                other.sendall(chunk)
        with suppress(OSError):
            other.shutdown(socket.SHUT_RDWR)

    def __enter__(self) -> Wire:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.cut()
        with suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        for line in self._lines:
            line.close()
