r"""Any program that speaks the line protocol, as a target: started, asked, and started again when it falls.

Owns one rule: what a program can do wrong beside a wrong answer. It dies, it does not answer in time, it gives more or
fewer lines than it was asked, it writes to stderr. After each group of questions stands one that no program knows; its
answer `?` shows that the lines still match.

>>> import sys
>>> echo = "import sys\nfor line in sys.stdin: print('?', flush=True)"
>>> program = Program([sys.executable, "-c", echo])
>>> program.ask(["decode 11"])
Replies(lines=('?',), trouble='', remarks='', aligned=True)
>>> program.close()
"""

from __future__ import annotations

import contextlib
import queue
import shlex
import signal
import subprocess
import tempfile
import threading
import time
from pathlib import Path
from typing import IO, TYPE_CHECKING

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.protocol import SYNC, UNKNOWN
from packetcodec.fuzz.targets import Replies

if TYPE_CHECKING:
    from collections.abc import Sequence

_BLOCK = 1 << 16
_PAGE = 4096
#: Seconds a program may take to start.
_START = 10.0
#: Of what a program writes to stderr, so many characters are kept.
_REMARKS = 2000


class Program:
    """A running program.

    Args:
        command: the program and its arguments.
        name: as the user calls it; default: the command as a shell writes it.
        timeout: seconds without any answer after which it is taken to hang.

    Raises:
        PacketcodecError: it cannot be started at all.
    """

    def __init__(self, command: Sequence[str], *, name: str = "", timeout: float = 2.0) -> None:
        if not command:
            raise PacketcodecError("no command to start")
        self.command = list(command)
        self.name = name or shlex.join(command)
        self.timeout = timeout
        self.starts = 0
        self._how = ""
        self._process: subprocess.Popen[bytes] | None = None
        self._start()

    def _start(self) -> None:
        self._remarks: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115  # lives as long as the program
        try:
            self._process = subprocess.Popen(  # noqa: S603  # the user's own program, named by the user
                self.command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._remarks, bufsize=0
            )
        except OSError as fault:
            self._remarks.close()
            raise PacketcodecError(f"{self.command[0]}: cannot be started: {fault.strerror}") from None
        self.starts += 1
        self._chunks: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._rest = b""
        threading.Thread(target=_pump, args=(self._process.stdout, self._chunks), daemon=True).start()
        # The first answer may take as long as an interpreter takes to start; only those after it are timed.
        self._write(f"{SYNC}\n".encode())
        self._read(1, max(self.timeout, _START))

    def ask(self, lines: Sequence[str]) -> Replies:
        """The answers to some lines; the program is started again if it fell before, or does so now."""
        if self._process is None:
            self._start()
        text = "\n".join([*lines, SYNC, ""]).encode()
        writer = threading.Thread(target=self._write, args=(text,), daemon=True)
        writer.start()
        got, trouble = self._read(len(lines) + 1, self.timeout)
        answers = tuple(line.decode("utf-8", "replace").rstrip("\r") for line in got)
        aligned = True
        if not trouble and (answers[-1] != UNKNOWN or self._rest or not self._chunks.empty()):
            trouble, aligned = "it wrote more lines than it was asked for", False
        elif trouble.startswith("it gave no answer") and answers[-1:] == (UNKNOWN,) and len(answers) > 1:
            trouble, aligned = "it wrote fewer lines than it was asked for", False
        if trouble:
            remarks = self._fall()
            return Replies(answers[: len(lines)], trouble + self._how * trouble.endswith("died"), remarks, aligned)
        return Replies(answers[:-1], "", self._said())

    def _write(self, text: bytes) -> None:
        process = self._process
        if process is None or process.stdin is None:
            return
        view = memoryview(text)
        with contextlib.suppress(OSError, ValueError):  # it has gone: reading says so
            while view:
                view = view[process.stdin.write(view) :]

    def _read(self, wanted: int, timeout: float) -> tuple[list[bytes], str]:
        parts, count = [self._rest], self._rest.count(b"\n")
        self._rest = b""
        trouble = ""
        while count < wanted:
            try:
                chunk = self._chunks.get(timeout=timeout)
            except queue.Empty:
                trouble = f"it gave no answer in {timeout:g} s"
                break
            if not chunk:
                trouble = "it died"
                break
            parts.append(chunk)
            count += chunk.count(b"\n")
        found = b"".join(parts).split(b"\n")
        self._rest = b"\n".join(found[wanted:]) if len(found) > wanted else b""
        return found[: min(wanted, count)], trouble

    def _said(self) -> str:
        """What it wrote to stderr since last asked."""
        here = self._remarks.tell()
        self._remarks.seek(0, 2)
        end = self._remarks.tell()
        if end == here:
            return ""
        self._remarks.seek(here)
        text = self._remarks.read(_REMARKS).decode("utf-8", "replace")
        self._remarks.seek(end)
        return text.strip()

    def _fall(self) -> str:
        """End it, whatever state it is in; what it wrote to stderr."""
        process, self._process = self._process, None
        self._how = ""
        if process is None:
            return ""
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(0.2)  # one that died is dead by then
        status = process.poll()
        if status is None:
            process.kill()
            process.wait()
        elif status < 0:
            with contextlib.suppress(ValueError):
                self._how = f" of {signal.Signals(-status).name}"
        else:
            self._how = f" with exit status {status}"
        remarks = self._said()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        self._remarks.close()
        return remarks

    def memory(self) -> int:
        """Bytes it holds in memory now; 0 where the system does not say."""
        if self._process is None:
            return 0
        with contextlib.suppress(OSError, ValueError, IndexError):
            return int(Path(f"/proc/{self._process.pid}/statm").read_text("ascii").split()[1]) * _PAGE
        return 0

    def close(self) -> None:
        """End it."""
        process = self._process
        if process is not None and process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()
            deadline = time.monotonic() + 0.5
            while process.poll() is None and time.monotonic() < deadline:
                time.sleep(0.005)
        self._fall()


def _pump(stream: IO[bytes] | None, chunks: queue.SimpleQueue[bytes]) -> None:
    """Pass on what a program writes, so that it never waits for us."""
    with contextlib.suppress(OSError, ValueError):
        while stream is not None and (chunk := stream.read(_BLOCK)):
            chunks.put(chunk)
    chunks.put(b"")
