"""Where followed bytes come from, and what time it is then: a file as it grows, a stream, a serial port; and two clocks.

Owns two rules. What a name is: `-` is stdin; a character device (and a name under /dev, or COM and a number, that is not
there yet) is a serial port; a pipe is a stream; everything else is a file. A stream ends; a file and a port are waited for.
And seconds between two moments are counted by the steady clock; the clock of the day only dates them.
"""

from __future__ import annotations

import math
import os
import re
import select
import stat
import time
from pathlib import Path
from typing import Any, Protocol

import click

from packetcodec.cli.streams import DataFault, say

try:
    import serial
except ImportError:  # an optional extra
    serial = None  # type: ignore[assignment]
from collections.abc import Callable

_BLOCK = 1 << 16
_STDIN = 0
#: Bytes at the beginning of a file by which it is known again.
_HEAD = 64
_PORT = re.compile(r"/dev/|COM\d+$")


class Source(Protocol):
    """Bytes, as they come.

    Attributes:
        identity: what tells a file from another one that has its name, as JSON; None where nothing can be read again.
        read_so_far: bytes read of that file.
    """

    identity: Any
    read_so_far: int

    def read(self, patience: float) -> bytes | None:
        """What came within so many seconds, b"" if nothing did; None at the end, after which nothing ever comes."""
        ...

    def close(self) -> None:
        """Leave it."""
        ...


def open_source(name: str, baud: int, interrupted: Callable[[], None], stopped: tuple[Any, int] = (None, 0)) -> Source:
    """The source of a name.

    Args:
        name: `-`, a file, a pipe, or a serial port.
        baud: speed of a serial port in bits a second.
        interrupted: called where what comes next does not continue what came before.
        stopped: identity of the source that was read last, and how many bytes of it are done with; None and 0 at first.

    Raises:
        click.UsageError: a serial port without the library for it.
        OSError: a file that cannot be opened.
    """
    if name == "-":
        return Stream(_STDIN)
    path = Path(name)
    if not path.exists() and _PORT.match(name):
        return Port(name, baud, interrupted)
    mode = path.stat().st_mode
    if stat.S_ISCHR(mode):
        return Port(name, baud, interrupted)
    if stat.S_ISFIFO(mode):
        # Not blocked until someone writes, so that a signal to end is heard.
        return Stream(os.open(name, os.O_RDONLY | os.O_NONBLOCK))
    return GrowingFile(name, interrupted, stopped)


class Stream:
    """Stdin or a pipe."""

    identity: Any = None
    read_so_far = 0

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def read(self, patience: float) -> bytes | None:
        """What came; None once the other side has closed."""
        ready, _, _ = select.select([self._descriptor], [], [], patience)
        return os.read(self._descriptor, _BLOCK) or None if ready else b""

    def close(self) -> None:
        """Close it, stdin excepted."""
        if self._descriptor != _STDIN:
            os.close(self._descriptor)


class GrowingFile:
    """A file that others write: from its beginning on, and on as it grows. Begins again where it is replaced or cut."""

    def __init__(self, name: str, interrupted: Callable[[], None], stopped: tuple[Any, int]) -> None:
        self._name = name
        self._interrupted = interrupted
        self._descriptor = os.open(name, os.O_RDONLY)
        self._gone = False
        self.read_so_far = 0
        self.identity: Any = None
        self._know(stopped)

    def _know(self, stopped: tuple[Any, int] = (None, 0)) -> None:
        """Find out which file this is; one that was stopped at is gone on with from there."""
        self.read_so_far = 0
        there = os.fstat(self._descriptor)
        number = [there.st_dev, there.st_ino]
        before, done = stopped
        head = os.read(self._descriptor, _HEAD).hex()
        if before is not None:
            if before[:2] == number and head.startswith(before[2]) and there.st_size >= done:
                self.read_so_far = done
            else:
                say(f"{self._name}: another file than before, or cut shorter; read from its beginning")
        os.lseek(self._descriptor, self.read_so_far, os.SEEK_SET)
        self.identity = [*number, head]

    def read(self, patience: float) -> bytes | None:
        """What was added."""
        if data := os.read(self._descriptor, _BLOCK):
            if self.read_so_far < _HEAD and len(self.identity[2]) < 2 * _HEAD:
                head = bytes.fromhex(self.identity[2])[: self.read_so_far] + data
                self.identity = [*self.identity[:2], head[:_HEAD].hex()]
            self.read_so_far += len(data)
            return data
        mine = os.fstat(self._descriptor)
        try:
            there = Path(self._name).stat()
        except OSError:
            if not self._gone:
                self._gone = True
                say(f"{self._name}: gone; waiting for it")
        else:
            if (there.st_ino, there.st_dev) != (mine.st_ino, mine.st_dev):
                descriptor = os.open(self._name, os.O_RDONLY)
                os.close(self._descriptor)
                self._descriptor = descriptor
                self._begin_again("replaced by another file")
            elif there.st_size < self.read_so_far:
                os.lseek(self._descriptor, 0, os.SEEK_SET)
                self._begin_again("cut shorter")
        time.sleep(patience)
        return b""

    def _begin_again(self, why: str) -> None:
        self._gone = False
        self._interrupted()
        self._know()
        say(f"{self._name}: {why}; read from its beginning")

    def close(self) -> None:
        """Close the file."""
        os.close(self._descriptor)


class Port:
    """A serial port, eight bits, no parity, one stop bit."""

    identity: Any = None
    read_so_far = 0

    def __init__(self, name: str, baud: int, interrupted: Callable[[], None]) -> None:
        if serial is None:
            raise click.UsageError(f"{name}: a serial port needs the extra `serial`: pip install 'packetcodec[serial]'")
        self._name = name
        self._baud = baud
        self._interrupted = interrupted
        self._port: Any = None
        self._waiting = False
        self._open()

    def _open(self) -> None:
        try:
            # A port that someone else reads would give each of the two half of the bytes.
            self._port = serial.Serial(self._name, self._baud, timeout=0, exclusive=True if os.name == "posix" else None)
        except (ValueError, OverflowError) as fault:
            raise DataFault(f"{self._name}: {self._baud} baud: {fault}") from None
        except (serial.SerialException, OSError) as fault:
            if not self._waiting:
                say(f"{self._name}: {_reason(fault)}; waiting for it")
            self._waiting = True
        else:
            say(f"{self._name}: {'back' if self._waiting else 'open'}, {self._baud} baud")
            self._waiting = False

    def read(self, patience: float) -> bytes | None:
        """What came; nothing while the port is gone."""
        if self._port is None:
            time.sleep(patience)
            self._open()
            return b""
        try:
            ready, _, _ = select.select([self._port.fd], [], [], patience) if os.name == "posix" else ([1], [], [])
            if not ready:
                # A port whose plug was pulled stays silent on some systems: its name tells.
                if not Path(self._name).exists():
                    self._lost("gone")
                return b""
            data: bytes = self._port.read(_BLOCK)
            if not data and os.name != "posix":
                time.sleep(patience)
        except (serial.SerialException, OSError) as fault:
            self._lost(_reason(fault))
            return b""
        return data

    def _lost(self, why: str) -> None:
        self.close()
        self._interrupted()
        self._waiting = True
        say(f"{self._name}: {why}; waiting for it")

    def close(self) -> None:
        """Close the port."""
        if self._port is not None:
            port, self._port = self._port, None
            try:
                port.close()
            except (serial.SerialException, OSError):
                return  # it went on its own


def _reason(fault: Exception) -> str:
    """A few words for what the operating system or the library said."""
    code = getattr(fault, "errno", None)
    if isinstance(code, int):
        return os.strerror(code)
    return "gone" if "disconnected" in str(fault) else str(fault)


#: A clock that is set by less is steered by its own correction.
_STEP = 1.0


def _steady() -> float:
    # Unlike the monotonic clock, this one goes on while the machine sleeps.
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class Clock:
    """Both clocks. The steady one begins with the time of the day, or where it stood when the program was stopped."""

    def __init__(self, after: float = -math.inf) -> None:
        """Begin; `after` is what the steady clock showed last, before this start."""
        self._ahead = time.time() - _steady()
        self._base = max(time.time(), after) - _steady()

    def read(self) -> tuple[float, float]:
        """Unix seconds, and seconds of the steady clock."""
        return time.time(), self.steady()

    def steady(self) -> float:
        """Seconds of the steady clock."""
        return self._base + _steady()

    def stepped(self) -> float:
        """By how many seconds the clock of the day was set since the last call, forward or back; 0 if it was not."""
        ahead = time.time() - _steady()
        step = ahead - self._ahead
        if abs(step) < _STEP:
            return 0.0
        self._ahead = ahead
        return step
