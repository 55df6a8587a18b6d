"""Frozen values: what a frozen dataclass with slots gives, without the time that dataclasses take at import.

Owns one rule: how the values are made that every program has that imports this package (a schema, a plan, a CRC).
Dataclasses compile the source of five functions for each class; for the classes that `import packetcodec` needs, that and
the modules behind it were more than a third of its time (`benchmarks/start_up.py`). Rooms that are imported on their own
use dataclasses.

>>> class Gate(Frozen):
...     name: str
...     open: bool = False
>>> Gate("north"), Gate("north") == Gate(name="north", open=False)
(Gate(name='north', open=False), True)
>>> replace(Gate("north"), open=True).open
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar, dataclass_transform

_T = TypeVar("_T", bound="Frozen")

if TYPE_CHECKING:
    kept = property
else:

    class kept(property):  # noqa: N801  # used as `property` is
        """A property that is worked out once, when the value is made, and stands in a slot: as fast as a field to look up.

        It is no field: it is neither given, nor compared, shown or pickled. One may use those that stand above it.

        >>> class Gate(Frozen):
        ...     width: int
        ...     @kept
        ...     def wide(self) -> bool:
        ...         return self.width > 3
        >>> Gate(4), Gate(4).wide
        (Gate(width=4), True)
        """


@dataclass_transform(frozen_default=True)
class _Maker(type):
    """Turns the annotations of a class into slots, and what they are set to into defaults."""

    _fields: tuple[str, ...]
    _defaults: dict[str, Any]
    _kept: tuple[tuple[str, Any], ...]

    def __new__(cls, name: str, bases: tuple[type, ...], namespace: dict[str, Any]) -> _Maker:  # mypy's rule
        names = tuple(namespace.get("__annotations__", ()))
        defaults = {field: namespace.pop(field) for field in names if field in namespace}
        held = {field: item.fget for field, item in namespace.items() if type(item) is kept}
        rest = {field: item for field, item in namespace.items() if field not in held}
        slots = dict.fromkeys(names) | {field: function.__doc__ for field, function in held.items()}
        made = super().__new__(cls, name, bases, {**rest, "__slots__": slots, "__match_args__": names})
        made._fields, made._defaults, made._kept = names, defaults, tuple(held.items())
        return made


class Frozen(metaclass=_Maker):
    """A value with the fields that its class names, in order: immutable, compared and hashed by them, picklable.

    A class may have a method `__post_init__` to refuse what it is given.
    """

    def __init__(self, *values: Any, **named: Any) -> None:
        names, defaults = type(self)._fields, type(self)._defaults  # noqa: SLF001  # its own class
        given = {**defaults, **dict(zip(names, values, strict=False)), **named}
        if len(given) != len(names) or len(values) > len(names) or named.keys() & names[: len(values)]:
            raise TypeError(f"{type(self).__name__} takes {', '.join(names)}: each once, or its default")
        for name in names:
            object.__setattr__(self, name, given[name])
        self.__post_init__()
        for name, function in type(self)._kept:  # noqa: SLF001  # its own class
            object.__setattr__(self, name, function(self))

    def __post_init__(self) -> None:
        """Nothing to refuse."""

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"cannot assign to {name}: a {type(self).__name__} is frozen")

    def __delattr__(self, name: str) -> None:
        raise AttributeError(f"cannot delete {name}: a {type(self).__name__} is frozen")

    def _values(self) -> tuple[Any, ...]:
        return tuple([getattr(self, name) for name in type(self)._fields])

    def __eq__(self, other: object) -> bool:
        return self._values() == other._values() if type(other) is type(self) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._values())

    def __repr__(self) -> str:
        fields = zip(type(self)._fields, self._values(), strict=True)
        return f"{type(self).__qualname__}({', '.join(f'{name}={value!r}' for name, value in fields)})"

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), self._values()


def replace(value: _T, **changes: Any) -> _T:
    """The same value with some fields changed."""
    return type(value)(**{**dict(zip(type(value)._fields, value._values(), strict=True)), **changes})  # noqa: SLF001
