"""Files that a user names: schemas to read, and what a command writes.

Owns one rule: nothing is overwritten in place. A file is written beside its place, under a name that nobody else can have,
and swapped in when it is whole: whoever reads along, and whatever interrupts us, finds the old file or the new one. What
stands there already, a planted link included, is replaced and never written through.
"""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import click

from packetcodec.cli.streams import DataFault, say
from packetcodec.errors import SchemaFault
from packetcodec.schema import Schema
from packetcodec.starter import schema_text
from packetcodec.wire import Plan, compile_plan


def load_schema(path: str | None) -> Schema:
    """The schema of a file, or the starter schema for None.

    Raises:
        DataFault: everything that is wrong with it, one line each.
    """
    try:
        return Schema.parse(schema_text()) if path is None else Schema.load(path)
    except SchemaFault as fault:
        raise DataFault("\n".join(f"{path}: {problem}" for problem in fault.problems)) from None


def load_plan(path: str | None) -> Plan:
    """The plan of a schema file, or of the starter schema for None.

    Raises:
        DataFault: everything that is wrong with it, one line each.
    """
    return compile_plan(load_schema(path))


def demand_different(names: dict[str, str | None]) -> None:
    """Refuse a file that two options name.

    Raises:
        click.UsageError: naming both.
    """
    seen: dict[Path, str] = {}
    for option, name in names.items():
        if name and name != "-" and (other := seen.setdefault(Path(name).absolute(), option)) is not option:
            raise click.UsageError(f"{option}: {name} is what {other} names too")


def write_folder(folder: str, texts: Mapping[str, str]) -> None:
    """Write files, name to text, into a folder that is made where it is not there, and say so.

    Raises:
        OSError: one cannot be written; its `filename` is what the user knows it by.
    """
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
    except FileExistsError:  # a device or the like, which is neither file nor folder
        raise NotADirectoryError(errno.ENOTDIR, "is not a folder", folder) from None
    for name, text in texts.items():
        path = Path(folder) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        verb = "replaced" if path.exists() else "wrote"
        write_file(path, text)
        say(f"{verb} {path}")


def write_file(
    path: Path, text: str | bytes | Iterable[str], *, new: bool = False, written: Callable[[int], None] | None = None
) -> None:
    """Write a file beside its place, to the disk, and swap it in; with `new` it must not be there yet.

    A long text may come in pieces; `written` is told its size in bytes before it is swapped in.

    Raises:
        FileExistsError: it is, with `new`.
        click.UsageError: it has no name.
        OSError: it cannot be written; `filename` is `path`, and nothing of it is left.
    """
    if not path.name:  # an empty name, which stands for the working directory
        raise click.UsageError("the name of the file to write is empty")
    with named(path):
        # Exclusive, in the same folder, with a name that cannot be guessed: nobody plants a link there.
        descriptor, beside = tempfile.mkstemp(prefix=f".{path.name[:80]}.", dir=path.parent)
        try:
            with open(descriptor, "wb") as handle:  # noqa: PTH123  # a descriptor has no path
                pieces = [text] if isinstance(text, str | bytes) else text
                handle.writelines(piece.encode() if isinstance(piece, str) else piece for piece in pieces)
                handle.flush()
                os.fchmod(descriptor, 0o666 & ~_umask())
                os.fsync(descriptor)
            if written:
                written(Path(beside).stat().st_size)
            if new:
                _link(beside, path)
            else:
                Path(beside).replace(path)
        finally:
            Path(beside).unlink(missing_ok=True)


@contextmanager
def named(path: Path) -> Iterator[None]:
    """A fault of the operating system inside is one of this file, whatever name or number it was opened by."""
    try:
        yield
    except OSError as fault:
        raise type(fault)(fault.errno, fault.strerror, str(path)) from None


def _link(beside: str, path: Path) -> None:
    """Give a file its name unless something has it: what someone else wrote meanwhile is not replaced."""
    try:
        path.hardlink_to(beside)
    except FileExistsError:
        raise
    except OSError:  # a file system without links, such as that of a memory card
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
        Path(beside).replace(path)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
