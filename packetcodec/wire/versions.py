"""Versions of a schema that one receiver knows.

Owns one rule: they share a header and tell themselves apart by it.

>>> from packetcodec.starter import example_plan
>>> [plan.version for plan in one_header((example_plan(),))]
[1]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from packetcodec.wire.plan import Plan


def one_header(plans: tuple[Plan, ...]) -> tuple[Plan, ...]:
    """Versions of a schema that a receiver of all can tell apart.

    Raises:
        PacketcodecError: two of the same version, or with different headers.
    """
    first = plans[0]
    for number, plan in enumerate(plans):
        if (plan.version_bits, plan.layout_bits) != (first.version_bits, first.layout_bits):
            head, other = (f"{item.version_bits} + {item.layout_bits}" for item in (plan, first))
            raise PacketcodecError(
                f"version {plan.version} has a header of {head} bits, version {first.version} one of {other}: "
                "a receiver of both cannot tell them apart"
            )
        if any(plan.version == other.version for other in plans[:number]):
            raise PacketcodecError(f"version {plan.version} is given twice: a packet names its schema by this number")
    return plans
