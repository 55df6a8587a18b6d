"""Emitted modules run by Node.js: many packets and many schemas in one process, answers in the form of `outcome`."""

from __future__ import annotations

import json
import math
import subprocess
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from packetcodec import Packet, PacketFault, Plan, Schema, TrailPoint, ValueFault, compile_plan
from packetcodec.emit.js.writer import write_javascript
from tests.support.needs import tool

HARNESS = Path(__file__).with_name("harness.mjs")

#: A packet to decode, or layout, values and trail to encode.
Job = bytes | tuple[str, Mapping[str, Any], Sequence[Any]]


def plain(value: Any) -> Any:
    """A value that JavaScript has too: its numbers are 64-bit floats, everything else stays what it is not."""
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, bytes):
        return value.decode("latin-1")
    if isinstance(value, int) and abs(value) <= 9 * 10**8:  # times every scale of a circle: exact in a float
        return value
    try:
        return float(value)
    except OverflowError:
        return math.inf
    except (TypeError, ValueError):  # a tuple, a complex number; a signalling NaN
        return []


def outcome(way: Callable[..., Any], *arguments: Any) -> tuple[Any, ...]:
    """What a call gives: fault, field and bit, or everything that a packet says; bytes, or the refused field."""
    try:
        result = way(*arguments)
    except PacketFault as fault:
        return fault.status, fault.field, fault.offset
    except ValueFault as fault:
        return "refused", fault.field
    if not isinstance(result, Packet):
        return ("packet", result.hex())
    values = tuple((name, typed(value)) for name, value in result.values.items())
    points = tuple(tuple(map(typed, point)) for point in result.trail)
    return "ok", result.layout, result.version, values, result.codes, points


def typed(value: Any) -> Any:
    """A value that equals nothing of another type: True is not 1 here, nor a whole float unlike the whole number."""
    return float(value).hex() if isinstance(value, float | int) and not isinstance(value, bool) else value


def module_of(*plans: Plan) -> str:
    """The emitted module of a plan."""
    return write_javascript(*plans)[f"{plans[0].name}.mjs"]


class Node:
    """The modules of some schemas. `run` answers jobs: pairs of the number of a schema and what to do with it."""

    def __init__(self, *schemas: Schema) -> None:
        self.texts = [module_of(compile_plan(schema)) for schema in schemas]

    def run(self, jobs: Iterable[tuple[int, Job]]) -> list[tuple[Any, ...]]:
        """One answer to each job, in the form of `outcome`."""
        lines = [_line(number, job) for number, job in jobs]
        with tempfile.TemporaryDirectory() as folder:
            paths = [Path(folder, f"module{number}.mjs") for number in range(len(self.texts))]
            for path, text in zip(paths, self.texts, strict=True):
                path.write_text(text, encoding="utf-8")
            done = subprocess.run(
                [tool("node"), str(HARNESS), *map(str, paths)],
                input="".join(lines), capture_output=True, encoding="utf-8", timeout=300, check=False,
            )  # fmt: skip
        assert done.returncode == 0, done.stderr
        answers = [_answer(json.loads(line)) for line in done.stdout.splitlines() if line]
        assert len(answers) == len(lines), done.stderr
        return answers


def _line(number: int, job: Job) -> str:
    words = [number, job.hex()] if isinstance(job, bytes) else [number, job[0], job[1], [_point(p) for p in job[2]]]
    return json.dumps(_finite(words), allow_nan=False) + "\n"


def _point(point: Any) -> Any:
    return dict(zip(TrailPoint._fields, point, strict=False)) if isinstance(point, tuple) else point


def _finite(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return {"$number": "NaN" if math.isnan(value) else "Infinity" if value > 0 else "-Infinity"}
    return value


def _answer(words: list[Any]) -> tuple[Any, ...]:
    if words[0] == "ok":
        _, layout, version, values, codes, points = words
        said = tuple((name, typed(value)) for name, value in values)
        return "ok", layout, version, said, tuple(codes), tuple(tuple(map(typed, point)) for point in points)
    if words[0] == "refused":
        field, colon, _ = words[1].partition(":")
        return "refused", field if colon else None
    return tuple(words) if len(words) > 1 else ("packet", words[0])
