"""What is asked: something that takes the lines of questions and gives the lines of answers.

Owns one rule: a target never raises on a question. An exception in our own process is an answer ("raised ..."), a
program that dies, hangs or loses step is a `Replies.trouble`.

>>> target = FunctionTarget("echo", lambda line: line.upper())
>>> target.ask(["decode 11"]).lines
('DECODE 11',)
"""

from __future__ import annotations

import math
import signal
import threading
import time
import traceback
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from packetcodec.codec import Codec
from packetcodec.errors import OK
from packetcodec.fuzz.protocol import UNKNOWN, QuestionFault, bases_of, point_words, read_question
from packetcodec.wire import Plan, Point, compile_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from packetcodec.schema import Schema

    Source = Schema | Codec | Plan

#: The trouble of a target whose answers were no longer waited for.
TIME_UP = "the time of the run was up"
#: Seconds from which an answer is worth a second look.
SLOW = 0.05


@dataclass(frozen=True, slots=True)
class Replies:
    """The answers to some lines.

    Attributes:
        lines: those that came, at most one to a line asked.
        trouble: why there are fewer than asked, or why they cannot be told apart; "" for none.
        remarks: what the target wrote beside its answers (stderr, or the traceback of a function), or "".
        aligned: whether the first line answers the first question, and so on, as far as they go.
        slow: answers that took longer than `SLOW`: their number from 0, and the seconds since the one before.
    """

    lines: tuple[str, ...]
    trouble: str = ""
    remarks: str = ""
    aligned: bool = True
    slow: tuple[tuple[int, float], ...] = ()


class Target(Protocol):
    """Something that answers questions.

    Attributes:
        name: as the user calls it again on the command line.
        starts: how often it had to be started.

    >>> target: Target = FunctionTarget("deaf", lambda line: "too_short")
    >>> target.ask(["decode 11"]).lines, target.starts
    (('too_short',), 1)
    """

    name: str
    starts: int

    def ask(self, lines: Sequence[str], until: float = math.inf) -> Replies:
        """The answers to some lines, in their order; `until` is a time of `time.monotonic` to stop at."""

    def restart(self) -> None:
        """Forget all that was asked before, where that is possible."""

    def finish(self) -> Replies:
        """End as it ends with its input: what it says then."""

    def memory(self) -> int:
        """Bytes of memory the target holds, 0 where it cannot be told."""

    def close(self) -> None:
        """Let go of it."""


class _LateError(BaseException):
    """A function takes too long. No `except Exception` of its own keeps it from being stopped."""


@contextmanager
def _alarm_clock(left: Callable[[], float]) -> Iterator[None]:
    """Stops what runs when `left` has no seconds left, in the main thread of a POSIX system.

    The clock is set once for many questions: `left` is asked when it rings. One that was running before goes on behind it.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def ring(*_: Any) -> None:
        if left() <= 0:
            raise _LateError
        signal.setitimer(signal.ITIMER_REAL, max(1e-3, left()))

    delay, interval = signal.setitimer(signal.ITIMER_REAL, 0)
    start, before = time.monotonic(), signal.signal(signal.SIGALRM, ring)
    try:
        signal.setitimer(signal.ITIMER_REAL, max(1e-3, left()))
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
        if delay:
            signal.setitimer(signal.ITIMER_REAL, max(1e-3, delay - (time.monotonic() - start)), interval)


class OwnProcess:
    """What a target in our own process has nothing to do for."""

    def restart(self) -> None:
        """What is kept is its own."""

    def finish(self) -> Replies:
        """Nothing to say."""
        return Replies(())

    def memory(self) -> int:
        """Not told apart from our own."""
        return 0

    def close(self) -> None:
        """Nothing to let go."""


class FunctionTarget(OwnProcess):
    """A function of our own process: line to line.

    Args:
        name: for reports.
        answer: line to line.
        timeout: seconds after which an answer is too late.
    """

    def __init__(self, name: str, answer: Callable[[str], str], *, timeout: float = 2.0) -> None:
        self.name = name
        self.starts = 1
        self.timeout = timeout
        self._answer = answer
        self._remarks = ""

    def ask(self, lines: Sequence[str], until: float = math.inf) -> Replies:
        """The answers; an exception is one too."""
        found: list[str] = []
        slow = []
        self._remarks = ""
        before = time.monotonic()
        try:
            with _alarm_clock(lambda: min(before + self.timeout, until) - time.monotonic()):
                for line in lines:
                    found.append(self._one(line))
                    now = time.monotonic()
                    if now - before > SLOW:
                        slow.append((len(found) - 1, now - before))
                    before = now
        except _LateError:
            up = time.monotonic() >= until
            trouble = TIME_UP if up else f"it gave no answer in {self.timeout:g} s"
            return Replies(tuple(found), trouble, self._remarks, slow=tuple(slow))
        return Replies(tuple(found), "", self._remarks, slow=tuple(slow))

    def _one(self, line: str) -> str:
        try:
            return self._answer(line)
        except (Exception, SystemExit) as fault:  # noqa: BLE001  # whatever a decoder raises is what we look for
            if not self._remarks:
                frames = traceback.extract_tb(fault.__traceback__)[1:]
                self._remarks = "".join(traceback.format_list(frames)).rstrip()
            return f"raised {type(fault).__name__}: {fault}".replace("\n", " ")


def plan_of(source: Source) -> Plan:
    """The plan of what a user has at hand: a Schema, a Codec, or a Plan."""
    if isinstance(source, Codec):
        return source.plan
    return source if isinstance(source, Plan) else compile_plan(source)


def decoder_target(
    source: Source,
    decode: Callable[..., Sequence[Any]],
    encode: Callable[..., bytes] | None = None,
    *,
    timeout: float = 2.0,
) -> FunctionTarget:
    """Functions of a user's own.

    Args:
        source: a Schema, a Codec or a Plan: whose packets they know.
        decode: packet to (status, raw) or (status, raw, points). Raw codes are a mapping of field name to code, or stand in
            wire order; None is absent, as is the code for it. Points are (latitude, longitude, altitude, age) in base units,
            newest first; altitude and age are None where the trail carries none. With a fault, only the status counts.
            Where fields are sent by their low bits, it gets the references as a second argument: a mapping of field name
            to base units.
        encode: (layout name, mapping of field name to raw code, None for absent) to packet, or None. For a layout with a
            trail it gets the points as a third argument.
        timeout: seconds after which a function is stopped (in the main thread alone; a hang of C code is not).

    >>> from packetcodec import Codec, Schema
    >>> from packetcodec.starter import schema_text
    >>> codec = Codec(Schema.parse(schema_text()))
    >>> def decode(data):
    ...     status, packet = codec.try_decode(data)
    ...     return status, packet.raw if packet else {}
    >>> target = decoder_target(codec, decode)
    >>> replies = target.ask(["decode 1107"])
    >>> isinstance(replies, Replies), replies.lines
    (True, ('too_short',))
    """
    plan = plan_of(source)

    def answer(line: str) -> str:
        try:
            question = read_question(plan, line)
        except QuestionFault:
            return UNKNOWN
        layout = question.layout
        if question.verb == "decode":
            known = (bases_of(plan, question.references),) if plan.has_low_bits else ()
            status, *rest = decode(question.data, *known)
            return status if status != OK else _told(plan, question.data, rest)
        if layout is None or encode is None or question.verb != "encode":
            return UNKNOWN
        both = zip(layout.fields, question.numbers, strict=True)
        codes = {field.name: None if number == field.absent_code else number for field, number in both}
        return bytes(encode(layout.name, codes, *([question.points] if layout.trail else []))).hex()

    return FunctionTarget("decoder", answer, timeout=timeout)


def _told(plan: Plan, data: bytes, rest: Sequence[Any]) -> str:
    """A good packet in the words of the protocol. Which layout it is, its header says."""
    ident = int.from_bytes(data, "big") >> max(0, len(data) * 8 - plan.header_bits) & (1 << plan.layout_bits) - 1
    layout = next((item for item in plan.layouts if item.id == ident), None)
    if layout is None:
        return f"{OK} {ident}"
    raw = rest[0]
    codes = [raw[field.name] for field in layout.fields] if hasattr(raw, "keys") else list(raw)
    words = "".join(
        " -" if code is None or code == field.absent_code else f" {int(code) if code is True or code is False else code}"
        for field, code in zip(layout.fields, codes, strict=True)
    )
    points = rest[1] if len(rest) > 1 else ()
    return f"{OK} {layout.id}{words}{point_words(Point(*point) for point in points)}"
