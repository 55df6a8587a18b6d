"""Kernels are machine code from disk: what they need, when they are compiled, and that a bad argument is told."""

import subprocess
import sys

import numpy as np
import pytest

from packetcodec.arrays import native
from packetcodec.arrays.native import I32, I64, U8, Kernel

FIRST = """
import sys, pyarrow as pa
from packetcodec import Codec, Schema
from packetcodec.arrays import ColumnDecoder
from packetcodec.starter import schema_text
packet = bytes.fromhex("11072abad13d02afae8bcf480f2c")
column = pa.Array.from_buffers(pa.binary(14), 1, [None, pa.py_buffer(packet)])
decoder = ColumnDecoder(Codec(Schema.parse(schema_text())))
assert decoder.decode_array(column, "position").field("latitude")[0].as_py() == 46.512349
assert decoder.decode_layouts(column).tables[1, "position"].num_rows == 1
print(*sorted({"numba", "pandas"} & set(sys.modules)))
"""


@pytest.mark.slow
def test_numba_is_imported_to_compile_alone_and_pandas_never(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "kept"))
    run = [sys.executable, "-c", FIRST]
    first = subprocess.run(run, capture_output=True, text=True, check=True)
    assert "numba" in first.stdout
    kept = sorted((tmp_path / "kept").iterdir())
    assert [path.name.split(".")[0] for path in kept] == ["decode_rows", "group_rows"]
    second = subprocess.run(run, capture_output=True, text=True, check=True)
    assert second.stdout.strip() == ""


def test_a_kernel_takes_arrays_of_its_types_alone():
    kernel = Kernel("group", "group_rows", U8, I32)
    kernel._run = lambda *_: 0
    assert kernel(np.zeros(1, np.uint8), np.zeros(1, np.int32)) == 0
    with pytest.raises(TypeError, match="group_rows: an array of int64, not of int32"):
        kernel(np.zeros(1, np.uint8), np.zeros(1, np.int64))
    with pytest.raises(TypeError, match="in one piece"):
        kernel(np.zeros(1, np.uint8), np.zeros(4, np.int32)[::2])


def test_code_that_cannot_be_kept_is_compiled_again(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "file"))
    native._keep("some.o", b"code")
    assert (tmp_path / "file").read_text() == "no folder"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "new" / "folder"))
    native._keep("some.o", b"f\ncode")
    assert (tmp_path / "new" / "folder" / "some.o").read_bytes() == b"f\ncode"
    monkeypatch.setattr(native, "_key", lambda: "key")
    (tmp_path / "new" / "folder" / "some.key.o").write_bytes(b"symbol\n\x7f\ncode")
    assert Kernel("none", "some", I64)._code() == ("symbol", b"\x7f\ncode")
