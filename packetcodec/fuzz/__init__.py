"""Is it true? Inputs of every kind, what must hold of them, and decoders that are asked.

The names below come in two groups. Running (`run`, `play`, targets, `Corpus`) and the invariants need nothing beyond the
package. The strategies need hypothesis, the extra `fuzz`, and are loaded when they are first asked for: the command line and
the pytest fixture do without. They are described where they stand, in the modules of `packetcodec.fuzz.strategies`.

>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> schema = Schema.parse(schema_text())
>>> report = run(python_target(schema), compile_plan(schema), seconds=60, max_inputs=300)
>>> report.clean
True
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from packetcodec.fuzz.codec_target import python_target, reference_target
from packetcodec.fuzz.compiled import compiled_target
from packetcodec.fuzz.corpus import Corpus
from packetcodec.fuzz.finding import Finding
from packetcodec.fuzz.invariants import (
    BrokenInvariantError,
    all_answers_agree,
    decoding_ends_with_a_packet_or_a_named_fault,
    error_is_within_the_promised_bound,
    flips_up_to_the_guarantee_are_noticed,
    guaranteed_flips,
    noise_is_missed_no_more_often_than_promised,
    points_are_within_half_a_cell,
    quantizing_is_idempotent,
    quantizing_is_monotone,
    values_follow_from_the_codes,
    what_is_accepted_encodes_again_to_the_same_meaning,
)
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.program import Program
from packetcodec.fuzz.report import Report
from packetcodec.fuzz.run import play, run
from packetcodec.fuzz.targets import FunctionTarget, Replies, Target, decoder_target
from packetcodec.wire import compile_plan

__all__ = [
    "BrokenInvariantError", "Corpus", "Finding", "FunctionTarget", "Oracle", "Program", "Replies", "Report", "Target",
    "all_answers_agree", "compile_plan", "compiled_target", "decoder_target",
    "decoding_ends_with_a_packet_or_a_named_fault", "error_is_within_the_promised_bound",
    "flips_up_to_the_guarantee_are_noticed", "guaranteed_flips", "noise_is_missed_no_more_often_than_promised", "play",
    "points_are_within_half_a_cell", "python_target", "quantizing_is_idempotent", "quantizing_is_monotone",
    "reference_target", "run", "values_follow_from_the_codes", "what_is_accepted_encodes_again_to_the_same_meaning",
]  # fmt: skip

if TYPE_CHECKING:
    from packetcodec.fuzz.strategies.packets import (
        any_packets,
        any_value,
        any_values,
        good_packets,
        good_value,
        good_values,
        spoiled_packets,
    )
    from packetcodec.fuzz.strategies.schemas import schema_texts, schemas, versions
    from packetcodec.fuzz.strategies.trails import points

    __all__ += [  # that load hypothesis when they are first asked for
        "any_packets", "any_value", "any_values", "good_packets", "good_value", "good_values", "points", "schema_texts",
        "schemas", "spoiled_packets", "versions",
    ]  # fmt: skip

#: Strategies to the modules that they stand in.
_STRATEGIES = {
    **dict.fromkeys(("schema_texts", "schemas", "versions"), "schemas"),
    **dict.fromkeys(("any_packets", "any_value", "any_values", "good_packets", "good_value", "good_values"), "packets"),
    "spoiled_packets": "packets",
    "points": "trails",
}


def __getattr__(name: str) -> Any:
    """A strategy, on first use: hypothesis is an extra, and slow to load."""
    if name in _STRATEGIES:
        return getattr(importlib.import_module(f"packetcodec.fuzz.strategies.{_STRATEGIES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
