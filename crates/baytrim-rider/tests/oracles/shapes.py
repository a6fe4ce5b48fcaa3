"""Writes `shapes.json` beside itself: the curves and tables that src/cubic.rs and src/table.rs are held against.

    pip install numpy==2.4.6 scipy==1.17.1
    python shapes.py

Curves: `scipy.interpolate.PchipInterpolator` through points that rise, fall, stand and jump. Tables: the same programme
as in src/slopes.rs, solved by `scipy.optimize.minimize` (SLSQP, gradient given), whose method shares nothing with ours.
"""

import json
import pathlib

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize

rng = np.random.default_rng(20_261_127)


def points(kind):
    count = int(rng.integers(2, 13))
    x = np.cumsum(rng.uniform(0.5, 20.0, count))
    step = {
        "rising": rng.exponential(5.0, count),
        "falling": -rng.exponential(5.0, count),
        "any": rng.normal(0.0, 5.0, count),
        "with flats": rng.exponential(5.0, count) * rng.integers(0, 2, count),
        "with jumps": np.where(rng.uniform(size=count) < 0.3, 60.0, 0.01) * rng.uniform(0.5, 1.0, count),
    }[kind]
    return x, np.cumsum(step)


def curve(kind):
    x, y = points(kind)
    at = np.sort(rng.uniform(x[0], x[-1], 25))
    return {"kind": kind, "x": x.tolist(), "y": y.tolist(), "at": at.tolist(), "value": PchipInterpolator(x, y)(at).tolist()}


def solved(grip, wishes, slope, smoothness):
    steps = np.diff(grip)
    # Plate at a wish is a row of factors times the slopes.
    rows = np.clip(wishes[:, :1] - grip[:-1], 0.0, steps)
    weight = wishes[:, 2]

    def cost(slopes):
        miss = rows @ slopes - wishes[:, 1]
        return 0.5 * np.sum(weight * miss**2) + 0.5 * smoothness * np.sum(np.diff(slopes) ** 2)

    def gradient(slopes):
        change = np.diff(slopes, prepend=slopes[0], append=slopes[-1])
        return rows.T @ (weight * (rows @ slopes - wishes[:, 1])) + smoothness * (change[:-1] - change[1:])

    best = minimize(
        cost,
        np.full(len(steps), 100.0 / steps.sum()),
        jac=gradient,
        method="SLSQP",
        bounds=[slope] * len(steps),
        constraints={"type": "eq", "fun": lambda slopes: slopes @ steps - 100.0, "jac": lambda slopes: steps},
        options={"ftol": 1e-15, "maxiter": 10000},
    )
    return np.concatenate(([0.0], np.cumsum(best.x * steps)))


def table(grip, wishes, slope, smoothness):
    plate = solved(np.array(grip), np.array(wishes), slope, smoothness)
    return {"grip": list(grip), "wishes": [list(wish) for wish in wishes], "slope": list(slope), "smoothness": smoothness,
            "plate": plate.tolist()}


def any_table():
    inner = np.sort(rng.uniform(2.0, 98.0, int(rng.integers(2, 10))))
    grip = [0.0, *[float(g) for g in inner], 100.0]
    # A wish at every row keeps the best table one alone.
    count = int(rng.integers(0, 8))
    wishes = [[g, float(np.clip(g + rng.normal(0.0, 12.0), 0.0, 100.0)), 1.0] for g in grip[1:-1]]
    wishes += [[float(rng.uniform(0, 100)), float(rng.uniform(0, 100)), float(rng.uniform(0.2, 6.0))] for _ in range(count)]
    slope = [float(rng.choice([0.0, 0.2, 0.5])), float(rng.uniform(1.2, 3.0))]
    return table(grip, wishes, slope, float(rng.choice([0.0, 5.0, 20.0, 200.0])))


kinds = ["rising", "falling", "any", "with flats", "with jumps"]
hand_made = table(
    [0.0, 5.0, 10.0, 20.0, 35.0, 50.0, 75.0, 100.0],
    [[3.0, 0.5, 1.0], [8.0, 6.0, 1.0], [15.0, 5.0, 2.0], [30.0, 12.0, 1.0], [45.0, 40.0, 1.0], [60.0, 45.0, 0.5], [90.0, 95.0, 1.0]],
    [0.3, 1.35],
    20.0,
)
told = {"curves": [curve(kind) for kind in kinds for _ in range(6)], "tables": [hand_made, *[any_table() for _ in range(24)]]}
pathlib.Path(__file__).with_name("shapes.json").write_text(json.dumps(told) + "\n")
