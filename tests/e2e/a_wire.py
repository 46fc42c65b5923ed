"""A network cable between a client and the broker, which a test can cut and mend."""

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager


class Wire:
    """Carries every connection to its own port on to another one of loopback."""

    def __init__(self, to: int) -> None:
        self._to = to
        self._whole = True
        self._ends: list[socket.socket] = []
        self._lock = threading.Lock()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        """Take connections until closed; cut, they are dropped at once."""
        while True:
            try:
                near, _ = self._server.accept()
            except OSError:
                return
            with self._lock:
                if not self._whole:
                    near.close()
                    continue
                far = socket.create_connection(("127.0.0.1", self._to))
                self._ends += [near, far]
            for pair in ((near, far), (far, near)):
                threading.Thread(target=_carry, args=pair, daemon=True).start()

    def cut(self) -> None:
        """Break it: what is connected hears nothing more, what connects is dropped."""
        with self._lock:
            self._whole = False
            for end in self._ends:
                _shut(end)
            self._ends = []

    def mend(self) -> None:
        """Let connections through again."""
        with self._lock:
            self._whole = True

    def close(self) -> None:
        """Take it away."""
        self.cut()
        self._server.close()


def _carry(source: socket.socket, target: socket.socket) -> None:
    """Carry bytes one way until either end is shut."""
    with contextlib.suppress(OSError):
        while data := source.recv(65536):
            target.sendall(data)
    _shut(source)
    _shut(target)


def _shut(end: socket.socket) -> None:
    """Shut an end, whatever state it is in."""
    with contextlib.suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()


@contextmanager
def a_wire(to: int) -> Iterator[Wire]:
    """A whole wire to a port."""
    wire = Wire(to)
    try:
        yield wire
    finally:
        wire.close()
