"""Mutants of generated code: one token or one statement changed at a time, in C and in JavaScript.

Owns one rule: which changes are made. Every comparison, operator, constant, condition and statement, and in C every width
and sign of a type. Comments, strings and the lines of the preprocessor stay as they are.

>>> [(mutant.was, mutant.now) for mutant in mutants("int f(int x) { return x < 7; }")][1:5]
[('<', '<='), ('<', '>='), ('7', '8'), ('7', '6')]
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_TOKEN = re.compile(
    r"""(?P<skip>/\*.*?\*/|//[^\n]*|^[ \t]*\#(?:[^\n]*\\\n)*[^\n]*|\s+)
    |(?P<text>"(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])*'|`(?:\\.|[^`\\])*`)
    |(?P<number>0[xX][0-9a-fA-F]+[uUlLn]*|[0-9]+(?:\.[0-9]+)?(?:e[0-9]+)?[uUlLn]*)
    |(?P<name>[A-Za-z_$][\w$]*)
    |(?P<sign>>>>=|===|!==|>>>|<<=|>>=|\*\*|=>|->|\+\+|--|&&|\|\||\?\?|[<>=!+\-*/%&|^]=|<<|>>|.)""",
    re.VERBOSE | re.DOTALL | re.MULTILINE,
)
#: What stands for a sign between two operands, and for one before its operand.
_SIGNS = {
    "<": ("<=", ">="), "<=": ("<", ">"), ">": (">=", "<="), ">=": (">", "<"), "==": ("!=",), "!=": ("==",),
    "===": ("!==",), "!==": ("===",), "+": ("-",), "-": ("+",), "*": ("+",), "/": ("*",), "%": ("*",), "<<": (">>",),
    ">>": ("<<",), ">>>": ("<<",), "&": ("|",), "|": ("&",), "^": ("|",), "&&": ("||",), "||": ("&&",), "+=": ("-=",),
    "-=": ("+=",), "^=": ("|=",), "|=": ("&=",), "&=": ("|=",), "<<=": (">>=",), ">>=": ("<<=",), "*=": ("+=",),
    "++": ("--",), "--": ("++",), "!": ("",), "~": ("",),
}  # fmt: skip
_UNARY = {"!", "~", "++", "--"}
_TYPES = {
    "uint8_t": ("int8_t",), "uint16_t": ("uint8_t", "int16_t"), "uint32_t": ("uint16_t", "int32_t"),
    "int16_t": ("int8_t", "uint16_t"), "int32_t": ("int16_t", "uint32_t"),
}  # fmt: skip
_DECLARES = {
    "const", "let", "import", "export", "function", "class", "typedef", "static", "struct", "enum", "else", "case",
    "default", "throw",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change.

    Attributes:
        line: of the source, from 1.
        start, end: of what is changed, in characters.
        was, now: what stood there and what stands there instead.
    """

    line: int
    start: int
    end: int
    was: str
    now: str

    def of(self, source: str) -> str:
        """The source with the change."""
        return source[: self.start] + self.now + source[self.end :]


@dataclass(frozen=True, slots=True)
class _Token:
    sort: str
    text: str
    start: int

    @property
    def end(self) -> int:
        return self.start + len(self.text)


def mutants(source: str) -> Iterator[Mutant]:
    """All mutants of a source, in the order of their places."""
    tokens = [
        _Token(found.lastgroup or "", found[0], found.start())
        for found in _TOKEN.finditer(source)
        if found.lastgroup != "skip"
    ]
    for number, token in enumerate(tokens):
        for start, end, now in _changes(source, tokens, number, token):
            yield Mutant(source.count("\n", 0, start) + 1, start, end, source[start:end], now)


def _changes(source: str, tokens: list[_Token], number: int, token: _Token) -> Iterator[tuple[int, int, str]]:
    before = tokens[number - 1] if number else token
    if token.sort == "number":
        yield from ((token.start, token.end, now) for now in _numbers(token.text))
    elif token.sort == "sign":
        operand = before.sort in {"number", "name", "text"} or before.text in {")", "]"}
        if token.text in _UNARY or (operand and before.text not in {"return", "case"}):
            yield from ((token.start, token.end, now) for now in _SIGNS.get(token.text, ()))
    elif token.text in _TYPES:
        yield from ((token.start, token.end, now) for now in _TYPES[token.text])
    elif token.text in {"if", "while"} and tokens[number + 1].text == "(":
        close = _closing(tokens, number + 1)
        inside = tokens[number + 1].end, tokens[close].start
        if source[slice(*inside)].strip() != "1":
            yield from ((*inside, now) for now in (("0", "1") if token.text == "if" else ("0",)))
    if before.text in {";", "{", "}"} and token.sort == "name" and token.text not in _DECLARES:
        end = _statement(tokens, number)
        if end is not None:
            yield token.start, tokens[end].start, ""


def _numbers(text: str) -> Iterator[str]:
    digits = text.rstrip("uUlLn")
    if not re.fullmatch(r"0[xX][0-9a-fA-F]+|[0-9]+", digits):
        return
    value, suffix = int(digits, 0) if digits[:2].lower() == "0x" or digits == "0" else int(digits), text[len(digits) :]
    for other in dict.fromkeys((value + 1, value - 1, 0)):
        if other >= 0 and other != value:
            yield f"{other}{suffix}"


def _closing(tokens: list[_Token], number: int) -> int:
    """The place of the bracket that closes the one at `number`."""
    depth = 0
    for place in range(number, len(tokens)):
        depth += (tokens[place].text in {"(", "[", "{"}) - (tokens[place].text in {")", "]", "}"})
        if depth == 0:
            return place
    return len(tokens) - 1


def _statement(tokens: list[_Token], number: int) -> int | None:
    """The place of the semicolon that ends a simple statement, or None for what is none."""
    if tokens[number].text in {"if", "while", "for", "do", "switch"}:
        return None
    for place in range(number, len(tokens)):
        if tokens[place].text in {"{", "}"}:
            return None
        if tokens[place].text == ";":
            return place
    return None
