r"""Rows of a mixed recording by what their headers name.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> groups = Groups({plan.version: plan})
>>> groups.names
[(1, 'position'), (1, 'track'), (1, 'status')]
>>> faults, layouts = groups.of(packets_of(pa.array([b"\x12", b"\x51", b"\x11", b""])))
>>> faults.to_pylist()
[{'row': 1, 'status': 'unknown_version'}, {'row': 3, 'status': 'too_short'}]
>>> [rows.tolist() for rows in layouts]
[[2], [0], []]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from packetcodec.arrays import native, tables
from packetcodec.arrays.kernels import numbers as group
from packetcodec.arrays.packets import of as packets_of
from packetcodec.errors import STATUSES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from packetcodec.arrays.packets import Packets
    from packetcodec.wire import Plan

__all__ = ["FAULTS", "Groups", "packets_of"]

#: The columns of packets that belong to no layout.
FAULTS = pa.schema({"row": pa.int64(), "status": tables.STATUS})


#: What a group that is no layout is called.
_FAULT_OF = {group.NO_HEADER: "too_short", group.UNLIKE_VERSION: "unknown_version", group.UNLIKE_LAYOUT: "unknown_layout"}


class Groups:
    """Groups packets by header.

    Attributes:
        names: version and layout of each group, in the order of the plans.
    """

    def __init__(self, plans: Mapping[int, Plan]) -> None:
        self.names = [(plan.version, layout.name) for plan in plans.values() for layout in plan.layouts]
        one = next(iter(plans.values()))
        self._bits = np.array([one.header_bits])
        groups = np.full((1 << one.version_bits, 1 << one.layout_bits), group.UNLIKE_VERSION, np.int32)
        number = group.LAYOUTS
        for version, plan in plans.items():
            groups[version] = group.UNLIKE_LAYOUT
            for layout in plan.layouts:
                groups[version, layout.id] = number
                number += 1
        self._groups = groups.reshape(-1)
        self._count = number

    def of(self, packets: Packets, first: int = 0) -> tuple[pa.RecordBatch, list[NDArray[np.int32]]]:
        """What belongs to no layout (rows counted from `first`, and status), and the rows of each layout, from 0."""
        found, rows = np.empty((2, len(packets.offsets) - 1), np.int32)
        counts, ends = np.empty((2, self._count + 1), np.int64)
        native.GROUP_ROWS(*packets, self._groups, self._bits, ends, counts, found, rows)
        groups = [rows[ends[number] : ends[number + 1]] for number in range(self._count)]
        lost = list(_FAULT_OF)
        numbers = np.concatenate([groups[number] for number in lost]).astype(np.int64)
        codes = np.repeat(
            np.array([STATUSES.index(name) for name in _FAULT_OF.values()], np.int8),
            [len(groups[number]) for number in lost],
        )
        order = np.argsort(numbers, kind="stable")
        rows, codes = tables.as_column(numbers[order] + first, pa.int64()), tables.as_column(codes[order], pa.int8())
        status = pa.DictionaryArray.from_arrays(codes, tables.STATUS_NAMES)
        return pa.record_batch([rows, status], schema=FAULTS), groups[group.LAYOUTS :]
