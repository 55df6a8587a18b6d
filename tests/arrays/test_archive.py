"""`decode --from`: whole files of packets."""

import json
import re
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest

from packetcodec import Codec, PacketcodecError, Schema
from packetcodec.arrays import native
from packetcodec.arrays.files import read_packets
from packetcodec.cli.app import run
from packetcodec.starter import schema_text
from tests.support import low_bits

GOOD = bytes.fromhex("11072abad13d02afae8bcf480f2c")
WANTED = ["ok", "bad_check", None, "ok"]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    return tmp_path


def decode(*arguments):
    return run(["decode", "pasture.toml", "--layout", "position", *arguments])


@pytest.mark.slow
def test_parquet_to_parquet_keeps_other_columns(folder, capfd):
    data = [GOOD, GOOD[:-1] + b"\0", None, GOOD]
    pq.write_table(pa.table({"heard": [1, 2, 3, 4], "data": data}), "in.parquet", row_group_size=3)
    assert decode("--from", "in.parquet", "--column", "data", "-o", "out.parquet") == 1
    found = pq.read_table("out.parquet")
    assert (found["heard"].to_pylist(), found["status"].to_pylist()) == ([1, 2, 3, 4], WANTED)
    assert found["latitude"].to_pylist() == [46.512349, None, None, 46.512349]
    assert "2 packets done, 1 refused, 1 null or of other layouts" in capfd.readouterr().err
    assert sorted(path.name for path in folder.iterdir()) == ["in.parquet", "out.parquet", "pasture.toml"]


def test_the_example_of_readme_makes_columns_of_a_file(folder):
    blocks = re.findall(r"```python\n(.*?)```", (Path(__file__).parents[2] / "README.md").read_text(), re.DOTALL)
    names = {}
    exec(next(text for text in blocks if "def to_columns" in text), names)  # noqa: S102  # what README shows is run
    pq.write_table(pa.table({"packet": [GOOD] * 3}), "in.parquet", row_group_size=2)
    names["to_columns"]("in.parquet", "out.parquet")
    assert pq.read_table(folder / "out.parquet")["latitude"].to_pylist() == [46.512349] * 3


@pytest.mark.parametrize(
    ("name", "text", "options"),
    [
        ("in.hex", GOOD.hex().encode() + b"\n" + GOOD.hex().encode() + b"\n", []),
        ("in.bin", GOOD * 2, ["--record", "14"]),
        ("in.bin", (b"\x0e" + GOOD) * 2, ["--record", "u8"]),
        ("in.bin", (b"\0\x0e" + GOOD) * 2, ["--record", "u16be"]),
    ],
)
def test_lines_and_records_become_csv(folder, name, text, options):
    (folder / name).write_bytes(text)
    assert decode("--from", name, *options, "-o", "out.csv") == 0
    assert pc.read_csv("out.csv")["latitude"].to_pylist() == [46.512349] * 2


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["--from", "in.bin"], 2, "--from needs -o FILE"),
        (["--from", "none.parquet", "-o", "out.csv"], 2, "none.parquet: No such file or directory"),
        (["--from", "in.bin", "-o", "out.xml"], 2, "--output: out.xml ends in neither .parquet nor .csv"),
        (["--from", "in.bin", "-o", "out.csv", "--record", "u9"], 2, "--record: 'u9' is neither"),
        (["--from", "in.bin", "-o", "out.csv", "--record", "3"], 1, "in.bin: the last record has 2 bytes, not 3"),
        (["--from", "in.parquet", "-o", "out.csv"], 1, "in.parquet: no Parquet"),
        (["--from", "in.bin", "-o", "out.csv", "--column", "data"], 2, "--column: 'data' is none of packet"),
        (["--from", "in.bin", "-o", "none/out.csv"], 2, "none/out.csv: No such file or directory"),
    ],
)
def test_what_is_wrong_is_one_line(folder, capfd, arguments, status, words):
    (folder / "in.bin").write_bytes(b"12345")
    (folder / "in.parquet").write_bytes(b"12345")
    assert decode(*arguments) == status
    said = capfd.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert not (folder / "out.csv").exists()


@pytest.mark.slow
@pytest.mark.parametrize("text", ["", "heard at noon: nothing\nheard at one: a lark\n"])
def test_a_file_without_a_packet_is_said_and_leaves_no_file(folder, capfd, text):
    (folder / "heard.log").write_text(text, encoding="utf-8")
    assert run(["decode", "pasture.toml", "--from", "heard.log", "-o", "out.csv"]) == 1
    said = capfd.readouterr().err
    assert "heard.log: no packet in it" in said
    assert len([line for line in said.splitlines() if "first use: compiling" not in line]) == 1
    assert not list(folder.glob("out*"))
    assert decode("--from", "heard.log", "-o", "out.csv") == 1


@pytest.mark.slow
def test_a_mixed_recording_becomes_a_file_for_each_layout(folder, capfd):
    codec = Codec(Schema.parse(schema_text()))
    values = {
        "collar": 7,
        "counter": 1,
        "latitude": 46.5,
        "longitude": 9.8,
        "altitude": 2100.0,
        "battery": 3.7,
        "fix_quality": 1,
    }
    track = codec.encode("track", values, [(46.5001, 9.8), (46.5002, 9.8001)])
    pq.write_table(pa.table({"heard": range(6), "packet": [GOOD, track, b"\x51", None, GOOD[:-1], track]}), "in.parquet")
    assert run(["decode", "pasture.toml", "--from", "in.parquet", "-o", "out.csv"]) == 1
    assert "wrote out.position.csv out.track.csv out.unknown.csv: 3 packets done, 2 refused" in capfd.readouterr().err
    found = pc.read_csv("out.position.csv")
    assert (found["row"].to_pylist(), found["heard"].to_pylist()) == ([0, 4], [0, 4])
    assert found["status"].to_pylist() == ["ok", "too_short"]
    tracks = pc.read_csv("out.track.csv")
    assert tracks["row"].to_pylist() == [1, 5]
    points = [point._asdict() for point in codec.decode(track).trail]
    assert [json.loads(text) for text in tracks["trail"].to_pylist()] == [points, points]
    assert pc.read_csv("out.unknown.csv").to_pylist() == [{"row": 2, "heard": 2, "status": "unknown_version"}]
    assert not list(folder.glob(".out*"))


def test_a_place_and_a_time_stand_for_the_bits_that_are_not_sent(folder, capfd):
    (folder / "low.toml").write_text(low_bits.TEXT, encoding="utf-8")
    for name, values in low_bits.VALUES.items():
        good = low_bits.CODEC.encode(name, values | {"counter": 42} if name == "position" else values)
        (folder / f"{name}.hex").write_text(good.hex() + "\n", encoding="utf-8")
    near = ["--near", "46.5,9.8,2100", "--clock", "2027-01-15T08:00:30Z"]
    for name, wanted in low_bits.VALUES.items():
        arguments = ["decode", "low.toml", "--from", f"{name}.hex", "--layout", name, "-o", "out.parquet"]
        assert run([*arguments, *near]) == (name == "track")  # a depth is no place: the receiver begins at 0
        if name == "position":
            assert pq.read_table("out.parquet")["latitude"].to_pylist() == [pytest.approx(wanted["latitude"], abs=1e-5)]
        capfd.readouterr()
        assert run(arguments) == 2
        fields = ", ".join(field.name for _, field, _ in low_bits.CODEC.plan.layout(name).low_fields)
        assert f'--from needs --near: layout "{name}" sends low bits of {fields}\n' in capfd.readouterr().err


def test_what_a_tracker_said_last_is_what_the_next_packet_is_read_by(folder, capfd):
    (folder / "low.toml").write_text(low_bits.TEXT, encoding="utf-8")
    values = low_bits.VALUES["position"]
    walk = [values | {"collar": collar, "counter": 3 * step, "latitude": 46.5 + (1 + collar) * 0.03 * step}
            for step in range(40) for collar in (1, 2)]  # fmt: skip
    packets = [low_bits.CODEC.encode("position", row) for row in walk]
    packets[20] = packets[20][:-1] + bytes([packets[20][-1] ^ 1])
    (folder / "in.hex").write_text("".join(packet.hex() + "\n" for packet in packets), encoding="utf-8")
    near = ["--near", "0,0", "--near", "46.5,9.8,2100"]
    for options, name in (["--layout", "position"], "out"), ([], "out.position"):
        assert run(["decode", "low.toml", "--from", "in.hex", "-o", "out.parquet", *near, *options]) == 1
        found = pq.read_table(f"{name}.parquet")
        assert found["status"].to_pylist() == ["ok"] * 20 + ["bad_check"] + ["ok"] * 59
        for row, wanted in zip(found.to_pylist(), walk, strict=True):
            if row["status"] == "ok":
                assert row["latitude"] == pytest.approx(wanted["latitude"], abs=1e-4)
                assert row["counter"] == wanted["counter"]
    assert "79 packets done, 1 refused" in capfd.readouterr().err


@pytest.mark.parametrize("options", [["--layout", "position"], []])
def test_a_line_without_hex_is_counted(folder, capfd, options):
    (folder / "in.hex").write_text(f"{GOOD.hex()}\nno hex\n{GOOD.hex()}\n11 0\n", encoding="utf-8")
    assert run(["decode", "pasture.toml", "--from", "in.hex", "-o", "out.csv", *options]) == 1
    assert ": 2 packets done, 0 refused, 2 lines not hex\n" in capfd.readouterr().err


def test_a_log_given_for_lines_of_hex_is_told_which_command_reads_logs(folder, capfd):
    (folder / "in.log").write_text(f"12:00:00 {GOOD.hex()} -97\n", encoding="utf-8")
    assert run(["decode", "pasture.toml", "--from", "in.log", "-o", "out.csv", "--layout", "position"]) == 1
    assert "1 line not hex; --from reads lines of bare hex, decode without it reads logs" in capfd.readouterr().err


def test_the_first_use_says_that_it_compiles(folder, capfd, monkeypatch):
    def remark(*_):
        native._LOG.info("first use: compiling")
        raise PacketcodecError("no compiler here")

    monkeypatch.setattr(native, "DECODE_ROWS", remark)
    (folder / "in.hex").write_text(f"{GOOD.hex()}\n", encoding="utf-8")
    assert decode("--from", "in.hex", "-o", "out.csv") == 1
    assert capfd.readouterr().err == "packetcodec: first use: compiling\npacketcodec: no compiler here\n"


def test_memory_does_not_grow_with_the_file(folder):
    before = pa.total_allocated_bytes()
    with (folder / "in.bin").open("wb") as handle:
        handle.write(GOOD * 200_000)
    with (folder / "in.bin").open("rb") as handle:
        sizes = [batch.num_rows for batch in read_packets(handle, "in.bin", record="14")]
        assert max(sizes) == 65_536
        assert sum(sizes) == 200_000
    assert pa.total_allocated_bytes() - before < 8 << 20
