"""A supervisor for the collector: starts it, listens to it, and starts it again when it is dead.

The collector already tells a service manager that it lives (sd_notify); here the watch is that
service manager. A collector that has died or says nothing for too long is killed and restarted,
with a growing pause; each time is an event in the record. It becomes an alarm by itself when
readings stay away.
"""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

HUNG_S = 30.0
START_S = 60.0  # importing, opening and checking a large store may take a while
RETRY_FIRST_S, RETRY_LONGEST_S = 1.0, 60.0
STEADY_S = 300.0  # after so long without trouble the pauses begin small again


class Supervisor:
    """One child process; call :meth:`look` about once a second.

    ``tell(kind, text)`` is given what happened, for the record.
    """

    def __init__(
        self,
        command: Sequence[str],
        tell: Callable[[str, str], None],
        steady_s: Callable[[], float],
        *,
        hung_s: float = HUNG_S,
    ) -> None:
        self._command, self._tell, self._steady_s, self._hung_s = command, tell, steady_s, hung_s
        self._folder = tempfile.TemporaryDirectory(prefix="firelog-")
        self._line: socket.socket | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._heard_s = self._began_s = steady_s()
        self._ready = False
        self._retry_s, self._due_s = RETRY_FIRST_S, steady_s()
        self.restarts = 0

    @property
    def pid(self) -> int | None:
        """The child's process number while there is one."""
        return None if self._process is None else self._process.pid

    def look(self) -> None:
        """Listen to the child; start it, or kill and restart it, when that is due."""
        now_s = self._steady_s()
        if self._process is None:
            if now_s >= self._due_s:
                self._start(now_s)
            return
        self._listen(now_s)
        status = self._process.poll()
        if status is not None:
            self._process = None
            self._again(now_s, "collector died", f"it ended with status {status}")
        elif now_s - self._heard_s > (self._hung_s if self._ready else START_S):
            self._kill()
            self._again(now_s, "collector hung", f"no sign of life for {self._hung_s:.0f} s")

    def stop(self, timeout_s: float = 20.0) -> None:
        """End the child: what it has heard by then is stored."""
        if self._process is not None:
            self._process.terminate()
            try:
                self._process.wait(timeout_s)
            except subprocess.TimeoutExpired:
                self._kill()
            self._process = None
        if self._line is not None:
            self._line.close()
        self._folder.cleanup()

    # ------------------------------------------------------------ inside
    def _start(self, now_s: float) -> None:
        environment = dict(os.environ)
        if self._line is None and hasattr(socket, "AF_UNIX"):
            path = Path(self._folder.name) / "alive"
            self._line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
            self._line.bind(str(path))
            self._line.setblocking(False)
        if self._line is not None:
            environment["NOTIFY_SOCKET"] = self._line.getsockname()
        environment["FIRELOG_PARENT"] = str(os.getpid())  # it ends when we are killed
        self._process = subprocess.Popen(
            list(self._command), env=environment, stdin=subprocess.DEVNULL
        )
        # Without a line (Windows) only a dead child is seen here; a hung one shows by its silence.
        self._ready = False
        self._heard_s = self._began_s = now_s if self._line is not None else float("inf")

    def _listen(self, now_s: float) -> None:
        if self._line is None:
            return
        with contextlib.suppress(BlockingIOError):
            while True:
                said = self._line.recv(4096)
                self._ready = self._ready or b"READY=1" in said
                self._heard_s = now_s

    def _again(self, now_s: float, kind: str, text: str) -> None:
        if now_s - self._began_s > STEADY_S:
            self._retry_s = RETRY_FIRST_S
        self._due_s = now_s + self._retry_s
        self._tell(kind, f"{text}; it is started again in {self._retry_s:.0f} s")
        self._retry_s = min(2.0 * self._retry_s, RETRY_LONGEST_S)
        self.restarts += 1

    def _kill(self) -> None:
        if self._process is not None:
            self._process.kill()  # a stopped process does not heed anything milder
            self._process.wait()
            self._process = None
