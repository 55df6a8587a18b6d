r"""Mutants of a plain Python module: one place of its syntax tree changed at a time, the text around it left as it is.

Owns one rule: which changes are made. Every comparison, operator, constant, condition and simple statement. Docstrings, the
words of messages and the names of attributes stay as they are.

>>> [(mutant.was, mutant.now) for mutant in python_mutants("def f(x):\n    return x < 7\n")][:4]
[('return x < 7', 'pass'), ('<', '<='), ('<', '>='), ('7', '8')]
"""

from __future__ import annotations

import ast
import itertools
from typing import TYPE_CHECKING

from packetcodec.fuzz.mutants import Mutant

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

#: What stands for an operator, as both are written.
_OPERATORS = {
    "<": ("<=", ">="), "<=": ("<", ">"), ">": (">=", "<="), ">=": (">", "<"), "==": ("!=",), "!=": ("==",),
    "is not": ("is",), "is": ("is not",), "not in": ("in",), "in": ("not in",), "and": ("or",), "or": ("and",),
    "+": ("-",), "-": ("+",), "**": ("*",), "*": ("+",), "//": ("*",), "%": ("*",), "<<": (">>",), ">>": ("<<",),
    "&": ("|",), "|": ("&",), "^": ("|",),
}  # fmt: skip
_SIGNS: dict[type[ast.AST], str] = {
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=", ast.Is: "is",
    ast.IsNot: "is not", ast.In: "in", ast.NotIn: "not in", ast.And: "and", ast.Or: "or", ast.Add: "+", ast.Sub: "-",
    ast.Pow: "**", ast.Mult: "*", ast.FloorDiv: "//", ast.Mod: "%", ast.LShift: "<<", ast.RShift: ">>", ast.BitAnd: "&",
    ast.BitOr: "|", ast.BitXor: "^",
}  # fmt: skip
_SIMPLE = (ast.Assign, ast.AugAssign, ast.Expr, ast.Return, ast.Raise, ast.Break, ast.Continue, ast.Delete)
#: What makes a type: the names that it is given are words.
_WORDS = "namedtuple"


def python_mutants(source: str) -> Iterator[Mutant]:
    """All mutants of a module, in the order of its syntax tree."""
    text = _Text(source)
    tree = ast.parse(source)
    words = {id(node) for parent in ast.walk(tree) for node in _words(parent)}
    for node in ast.walk(tree):
        if id(node) in words:
            continue
        for start, end, now in _changes(text, node):
            yield Mutant(source.count("\n", 0, start) + 1, start, end, source[start:end], now)


def unreached_lines(source: str, seen: Collection[int]) -> frozenset[int]:
    r"""The lines of the statements in functions that did not run.

    Args:
        source: a module.
        seen: the lines at which a tracer met statements.

    >>> sorted(unreached_lines("def f(x):\n    if x:\n        return (1 +\n            2)\n", {1, 2}))
    [3, 4]
    """
    owner: dict[int, int] = {}
    for node in ast.walk(ast.parse(source)):  # from the outside to the inside
        if isinstance(node, ast.FunctionDef):
            for inner in ast.walk(node):
                if isinstance(inner, ast.stmt) and inner is not node:
                    owner.update(dict.fromkeys(range(inner.lineno, (inner.end_lineno or 0) + 1), inner.lineno))
    return frozenset(line for line, start in owner.items() if start not in seen)


class _Text:
    """A source, and where in it a node of its tree stands."""

    def __init__(self, source: str) -> None:
        self.source = source
        self._lines = source.splitlines(keepends=True)
        self._starts = [0, *itertools.accumulate(map(len, self._lines))]

    def place(self, line: int, column: int) -> int:
        """In characters, of a line from 1 and a column in bytes of UTF-8."""
        return self._starts[line - 1] + len(self._lines[line - 1].encode()[:column].decode())

    def span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        """Where a node begins and ends."""
        assert node.end_lineno is not None  # noqa: S101  # the parser tells it
        assert node.end_col_offset is not None  # noqa: S101
        return self.place(node.lineno, node.col_offset), self.place(node.end_lineno, node.end_col_offset)

    def between(self, left: ast.expr, right: ast.expr, sign: str) -> Iterator[tuple[int, int, str]]:
        """The changes of a sign between two operands."""
        start = self.source.index(sign, self.span(left)[1], self.span(right)[0])
        for now in _OPERATORS.get(sign, ()):
            yield start, start + len(sign), now


def _words(node: ast.AST) -> Iterator[ast.AST]:
    """Texts that are read by people alone."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        yield node
        yield node.value
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod) and isinstance(node.left, ast.Constant):
        yield node.left
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == _WORDS:
        yield from ast.walk(node)


def _changes(text: _Text, node: ast.AST) -> Iterator[tuple[int, int, str]]:
    if isinstance(node, ast.Compare):
        for left, op, right in zip([node.left, *node.comparators], node.ops, node.comparators, strict=False):
            yield from text.between(left, right, _SIGNS[type(op)])
    elif isinstance(node, ast.BoolOp):
        for left, right in itertools.pairwise(node.values):
            yield from text.between(left, right, _SIGNS[type(node.op)])
    elif isinstance(node, ast.BinOp):
        yield from text.between(node.left, node.right, _SIGNS[type(node.op)])
    elif isinstance(node, ast.UnaryOp):
        start = text.span(node)[0]
        yield start, start + (4 if isinstance(node.op, ast.Not) else 1), ""
    elif isinstance(node, ast.Constant):
        yield from ((*text.span(node), now) for now in _constants(node.value))
    elif isinstance(node, ast.If | ast.IfExp):
        yield from ((*text.span(node.test), now) for now in ("False", "True"))
    elif isinstance(node, ast.While):
        yield (*text.span(node.test), "False")
    elif isinstance(node, _SIMPLE):
        if isinstance(node, ast.AugAssign):
            sign = _SIGNS[type(node.op)]
            start = text.source.index(sign + "=", text.span(node.target)[1])
            yield from ((start, start + len(sign), now) for now in _OPERATORS[sign])
        yield (*text.span(node), "pass")


def _constants(value: object) -> Iterator[str]:
    """What stands for a constant."""
    if value is None:
        yield "0"
    elif isinstance(value, bool):
        yield str(not value)
    elif isinstance(value, int):
        yield from (str(other) for other in dict.fromkeys((value + 1, value - 1, 0)) if other >= 0 and other != value)
    elif isinstance(value, str):
        yield '"?"'
