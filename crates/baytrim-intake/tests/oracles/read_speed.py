"""Compares the readers with pandas and polars on the same files, in one run.

Prints seconds of the quickest of three reads and, in brackets, processor seconds of a read: these add up the
cores, and do not count what else the machine does.

    pip install asammdf pyarrow pandas polars numpy
    cargo build --release -p baytrim-intake --features columnar --examples
    python read_speed.py TARGET/release/examples/read_file [ROWS]
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
from asammdf import MDF, Signal


def make(folder, rows):
    t = np.arange(rows) / 100.0
    wave = np.sin(t * 0.1)
    frame = pd.DataFrame(
        {
            "offset_s": t,
            "rpm": np.round(4000 + 2500 * wave, 1),
            "plate_percent": np.round(50 + 40 * wave, 2),
            "lambda": np.round(0.9 + 0.05 * np.cos(t * 1.3), 4),
            "coolant_c": np.round(85 + wave, 1),
            "gear": (np.arange(rows) // 1000 % 6 + 1),
            "speed_km_h": np.round(100 + 40 * wave, 1),
            "oil_c": np.round(95 - wave, 1),
        }
    )
    frame.to_csv(folder / "log.csv", index=False)
    frame.to_parquet(folder / "log.parquet", compression="zstd")
    frame.to_feather(folder / "log.arrow", compression="lz4")
    subprocess.run(["gzip", "-k", "-1", folder / "log.csv"], check=True)
    for compression, name in ((0, "log.mf4"), (2, "log_packed.mf4")):
        mdf = MDF(version="4.10")
        mdf.append(
            [
                Signal(frame[name].to_numpy(), t, name=name)
                for name in frame.columns
                if name != "offset_s"
            ]
        )
        mdf.save(folder / name, compression=compression, overwrite=True)


def timed(what):
    best, processor = float("inf"), float("inf")
    for _ in range(3):
        begin, begin_processor = time.perf_counter(), time.process_time()
        what()
        best = min(best, time.perf_counter() - begin)
        processor = min(processor, time.process_time() - begin_processor)
    return f"{best:.3f} s ({processor:.3f})"


def processor_s():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main():
    program, rows = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000
    columns = ["offset_s", "rpm", "plate_percent", "lambda", "coolant_c"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make(folder, rows)
        others = {
            "log.csv": [
                ("pandas", lambda path: pd.read_csv(path, usecols=columns)),
                ("polars", lambda path: pl.read_csv(path, columns=columns)),
            ],
            "log.csv.gz": [
                ("pandas", lambda path: pd.read_csv(path, usecols=columns)),
                ("polars", lambda path: pl.read_csv(path, columns=columns)),
            ],
            "log.parquet": [
                ("pandas", lambda path: pd.read_parquet(path, columns=columns)),
                ("polars", lambda path: pl.read_parquet(path, columns=columns)),
            ],
            "log.arrow": [
                ("pandas", lambda path: pd.read_feather(path, columns=columns)),
                ("polars", lambda path: pl.read_ipc(path, columns=columns)),
            ],
            "log.mf4": [("asammdf", lambda path: MDF(path).to_dataframe(channels=columns[1:]))],
            "log_packed.mf4": [
                ("asammdf", lambda path: MDF(path).to_dataframe(channels=columns[1:]))
            ],
        }
        for file, readers in others.items():
            path = folder / file
            megabytes = path.stat().st_size / 1e6
            begin_processor = processor_s()
            line = subprocess.run([program, path], check=True, capture_output=True, text=True)
            seconds, peak = line.stdout.split()
            # The program reads three times.
            processor = (processor_s() - begin_processor) / 3
            cells = [f"own {float(seconds):.3f} s ({processor:.3f}, peak {int(peak) / 1024:.0f} MB)"]
            for reader, read in readers:
                cells.append(f"{reader} {timed(lambda: read(path))}")
            rate = f"{megabytes / processor:.0f} MB/s, {rows / processor / 1e6:.2f} million rows/s of a processor"
            print(f"{file}: {megabytes:.1f} MB, {rows} rows: {'; '.join(cells)}; own {rate}")


main()
