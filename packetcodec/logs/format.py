"""A format of recorded logs: what a file of this folder defines to become one.

Owns one rule: a reader takes the blocks of a log as they come and yields each fix as soon as it is known, so that a log of
any length is read in the memory that its fixes take. What else it finds goes into `Findings`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from packetcodec.logs.fix import Refusals

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from packetcodec.logs.fix import Fix
    from packetcodec.logs.time_format import TimeFormat


@dataclass(slots=True)
class Findings:
    """What a reader tells of a log beside its fixes.

    Attributes:
        name: what messages call the log.
        size: bytes read so far.
        records: sentences, track points or rows seen so far, used or not.
        refusals: those that could not be used.
        columns: of a table: each column's name as it stands there, and what it means.
        nothing: what to say of a log without one usable fix; "" for the number of records.
        requested: of a table: meanings, or other names, to the headings of the columns that the caller says have them.
        time_format: of a table: what its times look like, where the caller says so.
    """

    name: str
    size: int = 0
    records: int = 0
    refusals: Refusals = field(default_factory=Refusals)
    columns: tuple[tuple[str, str], ...] = ()
    nothing: str = ""
    requested: Mapping[str, str] = field(default_factory=dict)
    time_format: TimeFormat | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFormat:
    """One format.

    Attributes:
        name: as options and reports write it.
        records: what its records are called, in the plural.
        recognises: whether the first few thousand bytes of a log are of this format.
        fixes: the fixes of a log's blocks, in its order.
        by_time: whether the order of its records means nothing, so that fixes are put in the order of their times.
    """

    name: str
    records: str
    recognises: Callable[[bytes], bool]
    fixes: Callable[[Iterator[bytes], Findings], Iterator[Fix]]
    by_time: bool
