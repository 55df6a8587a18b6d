"""Kernels as machine code: compiled by numba once, kept on disk, and called without numba.

Owns one rule: when a kernel is compiled. Its machine code is kept for the sources of the kernels, the compiler and the
processor; whoever finds it calls it by its address. To import numba takes longer than to decode a million packets.
The code stands where NUMBA_CACHE_DIR says, else beside the sources, or in the user's cache where nobody may write there.
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib
import logging
import os
import struct
import tempfile
from functools import cache
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING, Any

import llvmlite
import numpy as np
import pyarrow as pa
from llvmlite import binding as llvm
from llvmlite import ir

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

#: Arguments of kernels: arrays of numbers of a type, and how many dimensions they have.
U8, I32, U32, I64, F64 = ((kind, 1) for kind in ("u1", "i4", "u4", "i8", "f8"))
U8S, I32S, U32S, I64S, U64S, F64S = ((kind, 2) for kind in ("u1", "i4", "u4", "i8", "u8", "f8"))

_KERNELS = Path(__file__).parent / "kernels"
_SOURCES = (_KERNELS, _KERNELS.parent.parent / "wire" / "trail")
_LOCK = RLock()
_LOG = logging.getLogger(__name__)


class Given:
    """An array as a kernel takes it; it is looked at once where it is given again and again."""

    __slots__ = ("array", "numbers")

    def __init__(self, array: NDArray[Any]) -> None:
        self.array = array
        # As numba passes arrays: owner and parent (none), items, bytes of one, address, then shape and strides.
        address = pa.py_buffer(array).address if array.flags.c_contiguous else 0
        numbers = (0, 0, array.size, array.itemsize, address, *array.shape, *array.strides)
        self.numbers = struct.pack(f"{len(numbers)}q", *numbers)


class Kernel:
    """A function of a module of the kernels, for arrays of these types. It gives a number, without Python's lock."""

    def __init__(self, module: str, name: str, *types: tuple[str, int]) -> None:
        self._module, self._name, self._types = module, name, types
        self._run: Callable[[bytes], int] | None = None
        self._kinds = [np.dtype(kind) for kind, _ in types]

    def __call__(self, *arrays: NDArray[Any] | Given) -> int:
        """Run it; compiled, or read from disk, the first time."""
        run, found, error = self._run or self._load(), ctypes.c_int64(), ctypes.c_int64()
        numbers = [struct.pack("2q", ctypes.addressof(found), ctypes.addressof(error))]
        for array, kind in zip(arrays, self._kinds, strict=True):
            given = array if isinstance(array, Given) else Given(array)
            if given.array.dtype != kind or not given.array.flags.c_contiguous:
                raise TypeError(f"{self._name}: an array of {given.array.dtype}, not of {kind} in one piece")
            numbers.append(given.numbers)
        if run(b"".join(numbers)):
            raise RuntimeError(f"{self._name}: failed")
        return found.value

    def _load(self) -> Callable[[bytes], int]:
        with _LOCK:
            if self._run is None:
                symbol, code = self._code()
                engine = _engine()
                engine.add_object_file(llvm.ObjectFileRef.from_data(code))
                engine.add_module(_bridge(symbol, 2 + sum(5 + 2 * dimensions for _, dimensions in self._types)))
                engine.finalize_object()
                address = engine.get_function_address(f"{symbol}.bridge")
                self._run = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_char_p)(address)
            return self._run

    def _code(self) -> tuple[str, bytes]:
        """The name of the function in its machine code, and that code."""
        name = f"{self._name}.{_key()}.o"
        for folder in _folders():
            if (folder / name).is_file():
                symbol, code = (folder / name).read_bytes().split(b"\n", 1)
                return symbol.decode(), code
        _LOG.info("first use: compiling %s for this processor, which takes half a minute or less", self._name)
        kernels = "packetcodec.arrays.kernels"
        function = getattr(importlib.import_module(f"{kernels}.{self._module}"), self._name)
        symbol, code = importlib.import_module(f"{kernels}.machine").compiled(function, self._types)
        _keep(name, symbol.encode() + b"\n" + code)
        return symbol, code


def _keep(name: str, data: bytes) -> None:
    """Write a file that is whole for all who find it, in the first folder that takes it."""
    for folder in _folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            descriptor, beside = tempfile.mkstemp(dir=folder)
            try:
                with os.fdopen(descriptor, "wb") as handle:
                    handle.write(data)
                Path(beside).replace(folder / name)
            finally:
                Path(beside).unlink(missing_ok=True)
        except OSError:
            continue
        return


def _folders() -> Sequence[Path]:
    """Where machine code may be kept."""
    if chosen := os.environ.get("NUMBA_CACHE_DIR"):
        return (Path(chosen),)
    home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or "~/.cache"
    return _KERNELS / "__pycache__", Path(home).expanduser() / "packetcodec"


@cache
def _key() -> str:
    """What the machine code of a kernel depends on."""
    found = hashlib.sha256(f"{llvmlite.__version__} {llvm.get_process_triple()} {llvm.get_host_cpu_name()}".encode())
    found.update(llvm.get_host_cpu_features().flatten().encode())
    for path in sorted(path for folder in _SOURCES for path in folder.glob("*.py")):
        found.update(path.read_bytes())
    return found.hexdigest()[:16]


def _bridge(symbol: str, count: int) -> Any:
    """A function that calls another one with numbers in memory: ctypes takes longer for so many than a kernel does."""
    module, number = ir.Module(), ir.IntType(64)
    kernel = ir.Function(module, ir.FunctionType(ir.IntType(32), [number] * count), symbol)
    bridge = ir.Function(module, ir.FunctionType(ir.IntType(32), [number.as_pointer()]), f"{symbol}.bridge")
    build = ir.IRBuilder(bridge.append_basic_block())
    build.ret(build.call(kernel, [build.load(build.gep(bridge.args[0], [number(place)])) for place in range(count)]))
    return llvm.parse_assembly(str(module))


@cache
def _engine() -> Any:
    """What puts machine code into memory; it lives as long as the program."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    machine = llvm.Target.from_default_triple().create_target_machine(jit=True, opt=0)  # it compiles bridges alone
    return llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)


_PACKETS = (U8, I32, I32, U8, U8, I64)
_TABLES = (U32, U32S, I64S, F64S, I64S, U32S, I64S)
_SCRATCH = (U64S, U32S, U32S, I32, U8S)
_FIELD = (U8, I64, F64, U32, U8)
DECODE_ROWS = Kernel("decode", "decode_rows", *_PACKETS, *_TABLES, U64S, *_SCRATCH, U8)
DECODE_TRACKS = Kernel("track", "decode_tracks", *_PACKETS, *_TABLES, *_SCRATCH, I64, I64S, I64, I64S, I64S, I32S, I32, U8)
GROUP_ROWS = Kernel("group", "group_rows", U8, I32, U8, I32, I64, I64, I64, I32, I32)
CODE_REALS = Kernel("encode", "code_reals", F64, *_FIELD)
CODE_INTEGERS = Kernel("encode", "code_integers", I64, *_FIELD)
PACK_ROWS = Kernel("encode", "pack_rows", U32S, I64S, U32S, I64S, I64, U32S, U64S, U64S, U64S, U32, U8)
