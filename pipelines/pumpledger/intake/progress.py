"""How far the reading of an inbox has come, in bytes.

Belongs here: what intake tells a watcher. Drawing a bar is the command line's.
"""

from __future__ import annotations

from threading import Lock


class Progress:
    """Bytes to be dealt with, and bytes dealt with: each byte of an export counts when it is hashed and when it is
    read. Told from several threads."""

    def __init__(self) -> None:
        self.total = 0
        self.done = 0
        self._lock = Lock()

    def expect(self, size: int) -> None:
        """``size`` more bytes are to be dealt with; negative where it turns out to be fewer."""
        with self._lock:
            self.total += size
            self.changed()

    def advance(self, size: int) -> None:
        """``size`` more bytes have been dealt with."""
        with self._lock:
            self.done += size
            self.changed()

    def changed(self) -> None:
        """For a watcher to draw; called one at a time. Here nobody watches."""
