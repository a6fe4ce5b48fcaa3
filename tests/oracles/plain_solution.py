"""The fit's problem solved by hand with numpy and scipy, beside the figures of the project's own fit.

    cargo bench -p baytrim-estimate --bench speed -- --write DIRECTORY
    python tests/oracles/plain_solution.py DIRECTORY

Same readings, same footprints, same second differences; noise of usual size, which is not estimated, whitened as an
AR(1) series within stays; one offset for each pull. Dense: normal equations, Cholesky factor, inverse for the standard
errors. Sparse: the same equations with scipy's sparse LU, no standard errors. Times are those of the processor, best
of five, in one run on one thread; the fit's own stand in the files that the bench has just written.
"""

import json
import os
import pathlib
import sys
import time

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
import scipy.linalg
import scipy.sparse
import scipy.sparse.linalg

BLOCK_SD, CORRELATION, DIFFERENCE_SD, PULL_SD, LEVEL_SD = 0.008, 0.3, 0.02, 0.005, 0.10


def coordinate(values):
    values = np.asarray(values, float)
    return (values - values[0]) * (len(values) - 1) / (values[-1] - values[0])


def second_differences(rpm, plate):
    """Rows of the prior, one each for three nodes in a line, in units of its standard deviation."""
    speeds, plates = len(rpm), len(plate)
    axes = [(coordinate(rpm), lambda line, i: line * speeds + i, plates),
            (coordinate(np.sqrt(np.asarray(plate) + 1.0)), lambda line, i: i * speeds + line, speeds)]
    rows, columns, values, row = [], [], [], 0
    for x, node, lines in axes:
        for line in range(lines):
            for i in range(1, len(x) - 1):
                left, right = x[i] - x[i - 1], x[i + 1] - x[i]
                scale = np.sqrt(0.5 * (left + right)) * DIFFERENCE_SD
                for step, value in ((-1, 1 / left), (0, -1 / left - 1 / right), (1, 1 / right)):
                    rows.append(row)
                    columns.append(node(line, i + step))
                    values.append(value / scale)
                row += 1
    return scipy.sparse.csr_matrix((values, (rows, columns)), (row, speeds * plates))


def readings(pulls, nodes):
    """Whitened rows over nodes and pull offsets, and what they read."""
    rows, columns, values, need, row = [], [], [], [], 0
    for number, pull in enumerate(pulls):
        at, before = 0, None
        for block in pull["blocks"]:
            footprint = pull["footprint"][at:at + block["nodes"]]
            at += block["nodes"]
            own = dict(footprint)
            own[nodes + number] = 1.0
            last = before if before is not None and not block["begins"] else None
            memory = CORRELATION if last else 0.0
            scale = 1.0 / (BLOCK_SD * np.sqrt(1.0 - memory * memory))
            for column in own.keys() | (last[0].keys() if last else set()):
                rows.append(row)
                columns.append(column)
                values.append(scale * (own.get(column, 0.0) - memory * (last[0].get(column, 0.0) if last else 0.0)))
            need.append(scale * (block["need"] - memory * (last[1] if last else 0.0)))
            before = (own, block["need"])
            row += 1
    return scipy.sparse.csr_matrix((values, (rows, columns)), (row, nodes + len(pulls))), np.array(need)


def quickest(run):
    best, result = np.inf, None
    for _ in range(5):
        start = time.thread_time()
        result = run()
        best = min(best, time.thread_time() - start)
    return 1000 * best, result


def main():
    print(f"{'table':>8} {'way':<22} {'ms':>8} {'state, MB':>10} {'from ours, %':>13}")
    for path in sorted(pathlib.Path(sys.argv[1]).glob("problem_*.json")):
        problem = json.loads(path.read_text())
        rpm, plate, pulls = problem["rpm"], problem["plate_percent"], problem["pulls"]
        nodes, unknowns = len(rpm) * len(plate), len(rpm) * len(plate) + len(pulls)
        design, need = readings(pulls, nodes)
        smooth = second_differences(rpm, plate)
        weak = np.concatenate([np.full(nodes, 1 / (LEVEL_SD ** 2 * nodes)), np.full(len(pulls), 1 / PULL_SD ** 2)])
        wide = scipy.sparse.csr_matrix((smooth.data, smooth.indices, smooth.indptr), (smooth.shape[0], unknowns))
        full, stiff = design.toarray(), wide.toarray()

        def dense():
            matrix = full.T @ full + stiff.T @ stiff + np.diag(weak)
            factor = scipy.linalg.cho_factor(matrix)
            covariance = scipy.linalg.cho_solve(factor, np.eye(unknowns))
            return scipy.linalg.cho_solve(factor, full.T @ need), np.sqrt(np.diag(covariance))

        def sparse():
            matrix = design.T @ design + wide.T @ wide + scipy.sparse.diags(weak)
            return scipy.sparse.linalg.splu(matrix.tocsc()).solve(design.T @ need)

        dense_ms, (theta, _) = quickest(dense)
        sparse_ms, other = quickest(sparse)
        assert np.max(np.abs(theta - other)) < 1e-8
        visited = np.array(problem["visits"]) > 0
        away = 100 * np.sqrt(np.mean((theta[:nodes] - np.array(problem["theta"]))[visited] ** 2))
        name = f"{len(rpm)} x {len(plate)}"
        ours = problem["state_bytes"] / 1e6
        held = 8 * (2 * unknowns ** 2 + full.size) / 1e6
        sums = sum(m.data.nbytes + m.indices.nbytes for m in (design, wide)) / 1e6
        print(f"{name:>8} {'the fit, whole':<22} {problem['fit_ms']:>8.1f} {ours:>10.2f} {'':>13}")
        print(f"{name:>8} {'numpy, dense, once':<22} {dense_ms:>8.1f} {held:>10.2f} {away:>13.2f}")
        print(f"{name:>8} {'scipy, sparse, once':<22} {sparse_ms:>8.1f} {sums:>10.2f} {away:>13.2f}")


main()
