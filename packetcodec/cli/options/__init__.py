"""Options that several commands share.

Owns one rule: an option that is not of its form, out of range, unknown to the schema, or without effect raises
click.UsageError, whose message begins with the option. No function here says so again.
"""

from __future__ import annotations
