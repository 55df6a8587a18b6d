"""Names for emitted C: what a schema calls things, made safe for C99 and C++.

Owns one rule: how a clash is resolved. A name that is a keyword, a macro that compilers or standard headers
define in lower case, a type of those headers, or that stands already in the same scope gets a low line behind
it, as many as it takes. The names are taken in a fixed order, so the same schema always gives the same names;
the emitter's own names inside the source have no low line, and all public ones have one, so that the two cannot
meet.

>>> names = Names()
>>> names.take("latitude_e7"), names.take("class"), names.take("class")
('latitude_e7', 'class_', 'class__')
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

#: Keywords of C99 to C23 and of C++98 to C++23 (ISO/IEC 9899 6.4.1, ISO/IEC 14882 [lex.key], from memory), then macros
#: in lower case that a compiler or a header of the standard library or of AVR defines (from memory), then types, then
#: macros that the name of a schema could become (POSIX, unistd.h), and functions of the sketches.
RESERVED = frozenset(
    """
    alignas alignof and and_eq asm atomic_cancel atomic_commit atomic_noexcept auto bitand bitor bool break case
    catch char char16_t char32_t char8_t class co_await co_return co_yield compl concept const const_cast consteval
    constexpr constinit continue decltype default delete do double dynamic_cast else enum explicit export extern
    false float for friend goto if inline int long mutable namespace new noexcept not not_eq nullptr operator or
    or_eq private protected public reflexpr register reinterpret_cast requires restrict return short signed sizeof
    static static_assert static_cast struct switch synchronized template this thread_local throw true try typedef
    typeid typename typeof typeof_unqual union unsigned using virtual void volatile wchar_t while xor xor_eq arm
    assert bit cbi cli complex errno far i386 imaginary interface interrupt linux mips near noreturn offsetof pascal
    reti sbi sei signbit small stderr stdin stdout sun unix va_arg va_end va_start vax int8_t int16_t int32_t
    int64_t intmax_t intptr_t max_align_t nullptr_t ptrdiff_t size_t uint8_t uint16_t uint32_t uint64_t uintmax_t
    uintptr_t F_OK R_OK W_OK X_OK send_packet receive_packet
    """.split()
)


class Names:
    """The names of one scope, those that are taken."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        """Start with names that are taken from the beginning."""
        self._taken = {*RESERVED, *taken}

    def take(self, wanted: str, also: Callable[[str], Iterable[str]] = lambda name: (name,)) -> str:
        """`wanted`, or what comes of it, that is free from now on no more.

        Args:
            wanted: the name.
            also: all names that go with it; none of them may be taken.
        """
        while not self._taken.isdisjoint(also(wanted)):
            wanted += "_"
        self._taken.update(also(wanted))
        return wanted
