#!/usr/bin/env python3
"""Makes the Python stubs of the API from the .proto files, into `stubs/` beside this file.

    python make_stubs.py [--proto DIR] [--out DIR]

The stubs are never kept under version control: they are made anew whenever `proto/` changes.
"""

import argparse
import importlib.resources
import pathlib
import sys

from grpc_tools import protoc

HERE = pathlib.Path(__file__).resolve().parent


def make_stubs(proto: pathlib.Path, out: pathlib.Path) -> int:
    """Compiles every .proto file under `proto` into `out`; returns how many there were."""
    files = sorted(str(path.relative_to(proto)) for path in proto.rglob("*.proto"))
    if not files:
        sys.exit(f"no .proto files under {proto}: give the project's proto folder with --proto")
    out.mkdir(parents=True, exist_ok=True)
    # google/protobuf/timestamp.proto and its like come with grpcio-tools.
    common = importlib.resources.files("grpc_tools") / "_proto"
    arguments = ["protoc", f"-I{proto}", f"-I{common}", f"--python_out={out}", f"--grpc_python_out={out}"]
    if protoc.main(arguments + files) != 0:
        sys.exit("the .proto files did not compile; the lines above say where")
    return len(files)


def main() -> None:
    parser = argparse.ArgumentParser(description="Makes the Python stubs of the API.")
    parser.add_argument("--proto", type=pathlib.Path, default=HERE.parents[2] / "proto", metavar="DIR")
    parser.add_argument("--out", type=pathlib.Path, default=HERE / "stubs", metavar="DIR")
    options = parser.parse_args()
    count = make_stubs(options.proto.resolve(), options.out.resolve())
    print(f"{count} files compiled into {options.out}")


if __name__ == "__main__":
    main()
