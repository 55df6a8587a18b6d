"""No program under test outlives the harness, however that ends.

Owns one rule: a small shell in a session of its own holds a pipe from us and knows the process group to end. The pipe closes
when we are gone, even by SIGKILL; then it ends that group. Where there is no POSIX shell, nothing watches.

>>> dog = Watchdog()
>>> dog.guard(0)
>>> dog.close()
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess

_SCRIPT = 'group=0; while read -r next; do group=$next; done; [ "$group" = 0 ] || kill -9 "-$group"'


class Watchdog:
    """Ends a process group when this process ends."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        shell = shutil.which("sh") if os.name == "posix" else None
        if shell:
            self._process = subprocess.Popen(  # noqa: S603  # our own line
                [shell, "-c", _SCRIPT],
                bufsize=0,
                start_new_session=True,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )

    def guard(self, group: int) -> None:
        """Watch this group instead of the one before; 0: none."""
        if self._process is not None and self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.write(f"{group}\n".encode())

    def close(self) -> None:
        """Nothing is to be watched any more."""
        process, self._process = self._process, None
        if process is not None and process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.write(b"0\n")
                process.stdin.close()
            process.wait()
