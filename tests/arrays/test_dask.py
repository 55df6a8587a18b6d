"""README's Dask example, on processes, one of which is killed halfway: nothing is lost, nothing is there twice."""

import os
import re
import signal
import threading
import time
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from packetcodec import Codec, Schema
from packetcodec.arrays import ColumnDecoder
from packetcodec.starter import schema_text

dask = pytest.importorskip("dask", reason="dask is not installed (extra dask)")
distributed = pytest.importorskip("distributed", reason="distributed is not installed (extra dask)")
pd = pytest.importorskip("pandas", reason="pandas is not installed (extra dask)")

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
FILES, ROWS = 16, 2000


def decode_slowly(frame, decoder):
    """README's function, given time to be interrupted."""
    time.sleep(0.3)
    values = decoder.decode_array(frame["packet"].array.__arrow_array__(), "position")
    columns = zip(decoder.schema("position").names, values.flatten(), strict=True)
    return pd.DataFrame({name: pd.Series(pd.array(column, dtype=pd.ArrowDtype(column.type))) for name, column in columns})


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of the libraries, about each other
def test_a_killed_worker_loses_and_doubles_nothing(tmp_path):
    codec = Codec(Schema.parse(schema_text()))
    (tmp_path / "in").mkdir()
    wanted = []
    for number in range(FILES):
        rows = [
            {"collar": number, "counter": row % 256, "battery": 2.5 + row // 256 / 50, "fix_quality": 1}
            for row in range(ROWS)
        ]
        packets = [codec.encode("position", row) for row in rows]
        wanted += [(number, row["counter"], row["battery"]) for row in rows]
        pq.write_table(pa.table({"packet": packets}), tmp_path / "in" / f"part-{number:02}.parquet")
    example = next(block for block in re.findall(r"```python\n(.*?)```", README, re.DOTALL) if "map_partitions" in block)
    names = {"decoder": ColumnDecoder(codec)}
    exec(example, names)  # noqa: S102  # README's own
    names["decode_partition"] = decode_slowly
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 5}),
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        victim = next(iter(client.run(os.getpid).values()))
        timer = threading.Timer(1.5, os.kill, (victim, signal.SIGKILL))
        timer.start()
        names["to_data_set"](str(tmp_path / "in"), str(tmp_path / "out"))
        timer.join()
        assert victim not in client.run(os.getpid).values()
    found = pq.read_table(tmp_path / "out")
    assert sorted(zip(*(found[name].to_pylist() for name in ("collar", "counter", "battery")), strict=True)) == sorted(
        wanted
    )
    assert set(found["status"].to_pylist()) == {"ok"}
