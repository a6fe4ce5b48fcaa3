"""Writes the log files of tests/files with independent writers.

Run once by hand; the files are committed beside SHA256SUMS, and the tests read them as they are.
    pip install asammdf==8.8.28 pyarrow==26.0.1 polars==2.1.0 zstandard==0.25.0 numpy
    python write_files.py ../files
Every quantity is a straight line in time, so that a reader that interpolates must hit it exactly.
"""

import datetime
import hashlib
import sys
from pathlib import Path

import numpy as np


def rpm(t):
    return 2000.0 + 300.0 * t


def plate(t):
    return 10.0 + 5.0 * t


def lambda_ratio(t):
    return 0.85 + 0.02 * t


def coolant(t):
    return 70.0 + 0.5 * t


def write_mdf(folder):
    from asammdf import MDF, Signal
    from asammdf.blocks.conversion_utils import from_dict

    def signals(version, compression, name, unfinished=False):
        fast = np.arange(0.0, 4.0, 0.01)
        middle = np.arange(0.013, 4.0, 0.05)
        slow = np.arange(0.0, 4.5, 1.0)
        events = np.array([0.5, 1.2, 1.4])
        mdf = MDF(version=version)
        mdf.start_time = datetime.datetime(2031, 5, 4, 10, 15, 30, tzinfo=datetime.timezone.utc)
        mdf.append(
            [
                Signal(rpm(fast), fast, name="Engine speed", unit="rpm"),
                # Counts of a tenth of a percent, turned into percent by the file's own conversion.
                Signal(
                    np.round(plate(fast) * 10.0).astype("u2"),
                    fast,
                    name="Throttle",
                    unit="%",
                    conversion=from_dict({"a": 0.1, "b": 0.0}),
                ),
            ],
            comment="fast",
        )
        invalid = np.zeros(len(middle), dtype=bool)
        invalid[5] = True
        mdf.append(
            [
                Signal(
                    lambda_ratio(middle),
                    middle,
                    name="Lambda",
                    unit="",
                    invalidation_bits=invalid,
                ),
                Signal(np.arange(len(middle)).astype("u1"), middle, name="Counter"),
            ],
            comment="middle",
        )
        mdf.append(
            [
                Signal(coolant(slow) + 273.15, slow, name="Coolant", unit="K"),
                Signal(np.arange(len(slow)).astype("u1"), slow, name="Counter"),
            ],
            comment="slow",
        )
        mdf.append(
            [
                Signal(
                    np.array([0, 1, 0], dtype="u1"),
                    events,
                    name="Fuel cut",
                    conversion=from_dict({"val_0": 0, "text_0": "off", "val_1": 1, "text_1": "on"}),
                )
            ],
            comment="events",
        )
        path = folder / name
        mdf.save(path, overwrite=True, compression=compression)
        mdf.close()
        if unfinished:
            data = bytearray(path.read_bytes())
            data[0:8] = b"UnFinMF "
            # Standard flags: the cycle counters of channel groups need an update.
            data[60:62] = (1).to_bytes(2, "little")
            path.write_bytes(data)

    signals("4.10", 0, "four_clocks_410.mf4")
    signals("4.11", 2, "four_clocks_411_transposed.mf4")
    signals("4.10", 1, "four_clocks_410_unfinished.mf4", unfinished=True)


def write_tables(folder):
    import pyarrow as pa
    import pyarrow.feather as feather
    import pyarrow.parquet as pq

    t = np.arange(0.0, 4.0, 0.01)
    ratio = [None if index % 50 == 7 else float(lambda_ratio(one)) for index, one in enumerate(t)]
    start = np.datetime64("2031-05-04T10:15:30", "us")
    stamps = start + (t * 1e6).round().astype("timedelta64[us]")
    table = pa.table(
        {
            "Time": pa.array(t),
            "Stamp": pa.array(stamps),
            "Engine speed": pa.array(rpm(t), pa.float32()),
            "Throttle": pa.array(np.round(plate(t) * 10.0) / 10.0),
            "Lambda": pa.array(ratio),
            "Coolant": pa.array(np.round(coolant(t)).astype("i2")),
            "Fuel cut": pa.array((t >= 1.2) & (t < 1.4)),
            "Gear": pa.array(["third"] * len(t)).dictionary_encode(),
            "Note": pa.array([f"row {index}" for index in range(len(t))]),
        }
    )
    for codec in ("none", "snappy", "zstd", "gzip", "lz4"):
        pq.write_table(
            table,
            folder / f"table_{codec}.parquet",
            compression=codec,
            row_group_size=150,
            data_page_version="2.0" if codec == "zstd" else "1.0",
        )
    feather.write_feather(table, folder / "table_lz4.arrow", compression="lz4", chunksize=150)
    feather.write_feather(table, folder / "table_zstd.arrow", compression="zstd", chunksize=150)
    with pa.OSFile(str(folder / "table_stream.arrows"), "wb") as sink:
        with pa.ipc.new_stream(sink, table.schema) as writer:
            writer.write_table(table, max_chunksize=150)


def write_types(folder):
    """Types that are seldom met, times that are no moments, and what another writer makes of the same rows."""
    import decimal

    import polars
    import pyarrow as pa
    import pyarrow.feather as feather
    import pyarrow.parquet as pq

    t = np.arange(0.0, 4.0, 0.01)
    elapsed_us = (t * 1e6).round().astype("i8")
    # Two seconds before midnight.
    of_day_us = (86_398_000_000 + elapsed_us) % 86_400_000_000
    ratio = pa.array([None if index % 50 == 7 else float(lambda_ratio(one)) for index, one in enumerate(t)])
    speeds = [decimal.Decimal(f"{rpm(one):.2f}") for one in t]
    warmth = [decimal.Decimal(f"{coolant(one):.1f}") for one in t]
    flags = ["on" if 1.2 <= one < 1.4 else "off" for one in t]
    columns = {
        "Time": pa.array(elapsed_us, pa.duration("us")),
        "Clock": pa.array(of_day_us, pa.time64("us")),
        "Clock ms": pa.array((of_day_us // 1000).astype("i4"), pa.time32("ms")),
        "Engine speed": pa.array(speeds, pa.decimal128(10, 2)),
        "Throttle": pa.array(plate(t).astype("f2")),
        "Lambda": ratio,
        "Coolant": pa.array(warmth, pa.decimal32(5, 1)),
        "Fuel cut": pa.array(flags).dictionary_encode(),
    }
    pq.write_table(pa.table(columns), folder / "types.parquet", compression="zstd")
    columns["Lambda"] = ratio.dictionary_encode()
    columns["Coolant"] = pa.array(warmth, pa.decimal64(5, 1))
    feather.write_feather(pa.table(columns), folder / "types.arrow", compression="zstd")

    plain = {"Time": t, "Engine speed": rpm(t), "Throttle": plate(t), "Lambda": lambda_ratio(t)}
    frame = polars.DataFrame(plain).with_columns(Gear=polars.lit("third"))
    frame.write_ipc(folder / "polars.arrow", compression="zstd")
    frame.write_parquet(folder / "polars.parquet")
    pq.write_table(pa.table(plain).slice(0, 20), folder / "table_brotli.parquet", compression="brotli")


def write_text(folder):
    import zstandard

    rows = ["offset_s,rpm,plate_percent,lambda"]
    for index in range(400):
        t = index / 100
        rows.append(f"{t:.2f},{rpm(t):.3f},{plate(t):.3f},{lambda_ratio(t):.5f}")
    text = ("\n".join(rows) + "\n").encode()
    (folder / "plain.csv").write_bytes(text)
    for level in (1, 19):
        packer = zstandard.ZstdCompressor(level=level, write_checksum=True)
        (folder / f"plain_level_{level}.csv.zst").write_bytes(packer.compress(text))


def main():
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    write_text(folder)
    write_mdf(folder)
    write_tables(folder)
    write_types(folder)
    sums = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}"
        for path in sorted(folder.iterdir())
        if path.name != "SHA256SUMS"
    ]
    (folder / "SHA256SUMS").write_text("\n".join(sums) + "\n")


main()
