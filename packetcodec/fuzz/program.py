r"""Any program that speaks the line protocol, as a target: started, asked, and started again when it falls.

Owns one rule: what a program can do wrong beside a wrong answer. It dies, it does not answer in time, it gives more or
fewer lines than it was asked, it writes to stderr, it ends with a status that is not 0. After each group of questions stands
one that no program knows; its answer `?` shows that the lines still match.

>>> import sys
>>> echo = "import sys\nfor line in sys.stdin: print('?', flush=True)"
>>> program = Program([sys.executable, "-c", echo])
>>> program.ask(["decode 11"]).lines
('?',)
>>> program.close()
"""

from __future__ import annotations

import contextlib
import math
import os
import selectors
import shlex
import signal
import subprocess
import time
from pathlib import Path
from typing import TYPE_CHECKING

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.protocol import SYNC, UNKNOWN
from packetcodec.fuzz.targets import SLOW, TIME_UP, Replies
from packetcodec.fuzz.watchdog import Watchdog

if TYPE_CHECKING:
    import tempfile
    from collections.abc import Sequence

_BLOCK = 1 << 16
_PAGE = 4096
#: Seconds a program may take to start, and to end when its input does (a sanitizer has things to say then).
_START, _END = 10.0, 3.0
#: Seconds to wait for a line too many, where something is wrong with the lines.
_STRAY = 0.1
#: Of what a program writes to stderr between two questions, so many bytes are kept.
_REMARKS = 4000
_LATE, _DIED = "it gave no answer in", "it died"


class Program:
    """A running program.

    Args:
        command: the program and its arguments.
        name: as the user calls it; default: the command as a shell writes it.
        timeout: seconds without any answer after which it is taken to hang.
        home: a directory that goes with it.
        weighed: whether its memory is worth a look: a sanitizer or a collector keeps what was freed for a while.

    Raises:
        PacketcodecError: it cannot be started, or does not answer as the protocol says.
    """

    def __init__(
        self,
        command: Sequence[str],
        *,
        name: str = "",
        timeout: float = 2.0,
        home: tempfile.TemporaryDirectory[str] | None = None,
        weighed: bool = True,
    ) -> None:
        if not command:
            raise PacketcodecError("no command to start")
        self.command = list(command)
        self.name = name or shlex.join(command)
        self.timeout = timeout
        self.weighed = weighed
        self.starts = 0
        self._home = home
        self._watchdog = Watchdog()
        self._process: subprocess.Popen[bytes] | None = None
        trouble = self._start()
        if trouble:
            self.close()
            raise PacketcodecError(f"{self.name}: {trouble}")

    # --- starting ----------------------------------------------------------------------------------------------------

    def _start(self) -> str:
        """Start it; why it cannot be asked, or ""."""
        try:
            self._process = subprocess.Popen(  # noqa: S603  # the user's own program, named by the user
                self.command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0,
                start_new_session=True,
            )  # fmt: skip
        except OSError as fault:
            return f"it cannot be started: {fault.strerror}"
        self.starts += 1
        self._watchdog.guard(self._process.pid)
        self._pending = b""
        self._out, self._err = bytearray(), bytearray()
        self._open = {"out", "err"}
        self._poll = selectors.DefaultSelector()
        for stream, name in ((self._process.stdout, "out"), (self._process.stderr, "err")):
            if stream is not None:
                os.set_blocking(stream.fileno(), False)
                self._poll.register(stream, selectors.EVENT_READ, name)
        if self._process.stdin is not None:
            os.set_blocking(self._process.stdin.fileno(), False)
        return self._handshake()

    def _handshake(self) -> str:
        """Ask what no program knows; why the answer is not `?`, or ""."""
        self._write(f"{SYNC}\n".encode())
        trouble, _ = self._read(1, max(self.timeout, _START), math.inf)
        line = bytes(self._out).split(b"\n")[0].decode("utf-8", "replace").removesuffix("\r")
        if not trouble:
            self._out.clear()
            if line == UNKNOWN:
                return ""
            if line.strip() == UNKNOWN:
                return f"its answers have blanks around them: {line!r}"
            return f"it answered {line!r} to a question that it cannot know, {SYNC!r}: the answer is ?, by the first word"
        if trouble == _DIED:
            how, said = self._fall()
            return f"it ended {how} before its first answer{said and f': {said.splitlines()[-1]}'}"
        self._close_stdin()
        self._read(1, 1.0, math.inf)
        if self._out:
            return "it answers only when its input ends: its output is kept in a buffer; flush it after each line"
        return (
            "it gave no answer to its first line: it must read lines from stdin, answer each with a line on stdout, flush, "
            "and answer ? to what it does not know"
        )

    def restart(self) -> None:
        """Begin with a new process, whatever state the last one was in."""
        self._fall()

    # --- asking ------------------------------------------------------------------------------------------------------

    def ask(self, lines: Sequence[str], until: float = math.inf) -> Replies:
        """The answers to some lines; the program is started again if it fell before."""
        if self._process is None:
            trouble = self._start()
            if trouble:
                self._fall()
                return Replies((), f"started again, {trouble}", "", aligned=False)
        self._write("\n".join([*lines, SYNC, ""]).encode())
        trouble, slow = self._read(len(lines) + 1, self.timeout, until)
        if not trouble and not self._out.endswith(b"?\n") and not self._out.endswith(b"?\r\n"):
            self._read(len(lines) + 2, _STRAY, until)
        *found, rest = bytes(self._out).decode("utf-8", "replace").replace("\r\n", "\n").split("\n")
        self._out.clear()
        aligned = True
        if len(found) > len(lines) + 1 or (not trouble and rest):
            trouble, aligned = "it wrote more lines than it was asked for", False
        elif not trouble and found[-1] != UNKNOWN:
            trouble = f"it answered {SYNC!r}, which it cannot know"
        elif trouble.startswith(_LATE) and found[-1:] == [UNKNOWN]:
            trouble, aligned = "it wrote fewer lines than it was asked for", False
        answers = tuple(found[: len(lines)])
        if trouble:
            how, remarks = self._fall()
            return Replies(answers, f"{trouble} {how}" if trouble == _DIED else trouble, remarks, aligned, slow)
        return Replies(answers, "", self._said(), aligned=True, slow=slow)

    def _write(self, text: bytes) -> None:
        self._pending += text
        if self._process is not None and self._process.stdin is not None and not self._process.stdin.closed:
            with contextlib.suppress(KeyError):
                self._poll.register(self._process.stdin, selectors.EVENT_WRITE, "in")

    def _read(self, wanted: int, timeout: float, until: float) -> tuple[str, tuple[tuple[int, float], ...]]:
        """Write what is pending and read until so many lines have come: why they have not, and which were slow."""
        count = self._out.count(b"\n")
        slow: list[tuple[int, float]] = []
        before = time.monotonic()
        while count < wanted:
            events = self._poll.select(min(timeout, max(0.0, until - time.monotonic())))
            now = time.monotonic()
            if not events:
                return (TIME_UP if now >= until else f"{_LATE} {timeout:g} s"), tuple(slow)
            for key, _ in events:
                fresh = self._serve(key)
                if key.data == "out" and fresh:
                    if now - before > SLOW:
                        slow.append((count, now - before))
                    count += fresh.count(b"\n")
                    before = now
            if "out" not in self._open:
                return _DIED, tuple(slow)
            if now - before > timeout or now > until:
                return (TIME_UP if now > until else f"{_LATE} {timeout:g} s"), tuple(slow)
        return "", tuple(slow)

    def _serve(self, key: selectors.SelectorKey) -> bytes:
        """Do what a stream is ready for; what was read."""
        if key.data == "in":
            try:
                self._pending = self._pending[os.write(key.fd, self._pending[:_BLOCK]) :]
            except OSError:  # it has gone: reading says so
                self._pending = b""
            if not self._pending:
                self._poll.unregister(key.fileobj)
            return b""
        try:
            chunk = os.read(key.fd, _BLOCK)
        except BlockingIOError:
            return b""
        if not chunk:
            self._open.discard(key.data)
            self._poll.unregister(key.fileobj)
        elif key.data == "out":
            self._out += chunk
        else:
            self._err += chunk
            del self._err[_REMARKS:]
        return chunk

    def _said(self) -> str:
        """What it wrote to stderr since last asked."""
        process = self._process
        while process is not None and process.stderr is not None and "err" in self._open:
            if not self._serve(selectors.SelectorKey(process.stderr, process.stderr.fileno(), 0, "err")):
                break
        text = self._err.decode("utf-8", "replace").strip()
        self._err.clear()
        return text

    # --- ending ------------------------------------------------------------------------------------------------------

    def finish(self) -> Replies:
        """End it as its users do, by the end of its input: what it says then, and a status that is not 0."""
        if self._process is None:
            return Replies(())
        self._close_stdin()
        end = time.monotonic() + _END
        while self._open and (events := self._poll.select(max(0.0, end - time.monotonic()))):
            for key, _ in events:
                self._serve(key)
        left = bool(self._open)
        how, remarks = self._fall()
        return Replies((), f"it ended {how}" if not left and how != "with exit status 0" else "", remarks)

    def _close_stdin(self) -> None:
        if self._process is not None and self._process.stdin is not None and not self._process.stdin.closed:
            with contextlib.suppress(KeyError):
                self._poll.unregister(self._process.stdin)
            with contextlib.suppress(OSError):
                self._process.stdin.close()

    def _fall(self) -> tuple[str, str]:
        """End it and what it has started, whatever state it is in: how it had ended, what it wrote to stderr."""
        process = self._process
        if process is None:
            return "", ""
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(0.0 if "out" in self._open else 0.5)  # one that closed its output is about to end
        status, how = process.poll(), ""
        if status is not None and status < 0:
            how = f"of {signal.Signals(-status).name}" if -status in set(signal.Signals) else f"of signal {-status}"
        elif status is not None:
            how = f"with exit status {status}"
        with contextlib.suppress(OSError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        remarks = self._said()
        self._process = None
        self._watchdog.guard(0)
        self._poll.close()
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        return how, remarks

    def memory(self) -> int:
        """Bytes it holds in memory now; 0 where the system does not say."""
        if self._process is None or not self.weighed:
            return 0
        with contextlib.suppress(OSError, ValueError, IndexError):
            return int(Path(f"/proc/{self._process.pid}/statm").read_text("ascii").split()[1]) * _PAGE
        return 0

    def close(self) -> None:
        """End it."""
        self._fall()
        self._watchdog.close()
        if self._home is not None:
            self._home.cleanup()
