r"""The folder of a schema's fuzzing: findings and corpus, kept to be replayed first next time.

Owns one rule: what is kept. `findings.jsonl` holds each finding on a line; `corpus/` holds packets, one file each, that
between them show every status and every kind of input: a start for coverage-guided fuzzers too. Under a plan with fields
that are sent by their low bits a file begins with the references of its packet: each in base units, eight bytes with a
sign, high byte first, or `UNKNOWN`. A file that is shorter than these is a packet without any.

>>> import tempfile
>>> from pathlib import Path
>>> with tempfile.TemporaryDirectory() as place:
...     folder = Corpus(Path(place))
...     folder.add_corpus([b"\x11\x07"])
...     folder.questions()
['decode 1107']
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

from packetcodec.fuzz.generate import Inputs
from packetcodec.fuzz.judge import is_question
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.protocol import FIELD, HELD, decode_question, read_question

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.fuzz.finding import Finding
    from packetcodec.wire import Plan

DEFAULT = "packetcodec-fuzz"
_BATCHES = 20
#: A sequence of more questions has a file of its own.
_INLINE = 5
_EACH = 3
#: Stands where nothing is known of a field.
UNKNOWN = -(1 << 63)


class Corpus:
    """A folder on disk; it is made when something is written."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.findings = path / "findings.jsonl"
        self.corpus = path / "corpus"

    def questions(self, plan: Plan | None = None) -> list[str]:
        """What to ask first: earlier findings, then the corpus. Lines that cannot be read are passed over."""
        found = []
        if self.findings.is_file():
            for line in self.findings.read_text(encoding="utf-8").splitlines():
                try:
                    row = json.loads(line)
                except json.JSONDecodeError:
                    continue
                if isinstance(row, dict) and not row.get("file"):
                    found += [row[key] for key in ("question", "first") if isinstance(row.get(key), str)]
        found += [path.read_text(encoding="utf-8").strip() for path in sorted(self.path.glob("*.questions"))]
        if self.corpus.is_dir():
            for path in sorted(self.corpus.iterdir()):
                found.append(decode_question(*read_packet(plan, path.read_bytes())))
        oracle = Oracle(plan) if plan else None
        return [text for text in dict.fromkeys(found) if oracle is None or is_question(oracle, text)]

    def add_findings(self, findings: Iterable[Finding]) -> None:
        """Write findings behind the known ones; one that is known already is not written again."""
        known = set(self.questions()) if self.findings.is_file() else set()
        fresh = [finding for finding in findings if finding.question not in known]
        if not fresh:
            return
        self.path.mkdir(parents=True, exist_ok=True)
        with self.findings.open("a", encoding="utf-8") as handle:
            for finding in fresh:
                if finding.question.count("\n") > _INLINE:
                    path = self.path / f"{hashlib.sha256(finding.question.encode()).hexdigest()[:16]}.questions"
                    path.write_text(finding.question + "\n", encoding="utf-8")
                    finding.file = str(path)
                handle.write(json.dumps(finding.row(), ensure_ascii=False) + "\n")

    def add_corpus(self, packets: Iterable[bytes]) -> None:
        """Write packets with their references, as `corpus_of` makes them: one file each, named by its content."""
        self.corpus.mkdir(parents=True, exist_ok=True)
        for data in packets:
            path = self.corpus / f"{hashlib.sha256(data).hexdigest()[:16]}.packet"
            if not path.exists():
                path.write_bytes(data)


def questions_of(plan: Plan, text: str) -> str:
    r"""The questions that a user names, one to a line: those of a file, a packet in hex, or questions parted by `\n`.

    Raises:
        QuestionFault: one of them is none under this plan.

    >>> from packetcodec.starter import example_plan
    >>> questions_of(example_plan(), "1107")
    'decode 1107'
    """
    if Path(text).suffix and Path(text).is_file():
        asked = Path(text).read_text(encoding="utf-8").strip()
    else:
        asked = text.replace("\\n", "\n") if " " in text else f"decode {text.lower() or '-'}"
    for line in asked.split("\n"):
        if line not in {HELD, FIELD}:
            read_question(plan, line)
    return asked


def read_packet(plan: Plan | None, data: bytes) -> tuple[bytes, tuple[int | None, ...]]:
    r"""The packet of a file of the corpus, and its references.

    >>> from packetcodec.starter import example_plan
    >>> read_packet(example_plan(), b"\x11\x07")
    (b'\x11\x07', ())
    """
    size = 8 * len(plan.references) if plan else 0
    if not size or len(data) < size:
        return data, ()
    numbers = [int.from_bytes(data[place : place + 8], "big", signed=True) for place in range(0, size, 8)]
    return data[size:], tuple([None if number == UNKNOWN else number for number in numbers])


def corpus_of(plan: Plan, seed: int = 0) -> list[bytes]:
    """A few packets of every kind of input and right answer, each behind its references if the plan needs some."""
    inputs = Inputs(Oracle(plan), seed=seed, verbs=())
    counts: dict[tuple[str, str], int] = {}
    found: dict[bytes, None] = {}
    for number, batch in enumerate(inputs.rounds()):
        if number > _BATCHES:
            break
        for question, answer in zip(batch.questions, batch.answers, strict=True):
            key = (batch.kind, " ".join(answer.split()[:2]))
            if counts.get(key, 0) < _EACH:
                counts[key] = counts.get(key, 0) + 1
                asked = read_question(plan, question)
                known = asked.references or (None,) * len(plan.references)
                before = [(UNKNOWN if base is None else base).to_bytes(8, "big", signed=True) for base in known]
                found[b"".join(before) + asked.data] = None
    return list(found)
