"""Prints the numbers that src/cubic.rs and src/table.rs are held against.

    pip install numpy==2.4.6 scipy==1.17.1
    python shapes.py
"""

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize

x = [0.0, 5.0, 10.0, 25.0, 50.0, 80.0, 100.0]
y = [0.0, 1.0, 4.0, 11.0, 11.0, 60.0, 100.0]
curve = PchipInterpolator(x, y)
for at in (0.0, 1.0, 7.5, 12.0, 24.0, 40.0, 66.0, 79.0, 95.0, 100.0):
    print(f"({at!r}, {float(curve(at))!r}),")

grip = np.array([0.0, 5.0, 10.0, 20.0, 35.0, 50.0, 75.0, 100.0])
wishes = np.array([(3, 0.5, 1), (8, 6, 1), (15, 5, 2), (30, 12, 1), (45, 40, 1), (60, 45, 0.5), (90, 95, 1)])
steps = np.diff(grip)


def cost(slopes):
    plate = np.concatenate(([0.0], np.cumsum(slopes * steps)))
    miss = np.interp(wishes[:, 0], grip, plate) - wishes[:, 1]
    return 0.5 * np.sum(wishes[:, 2] * miss**2) + 10.0 * np.sum(np.diff(slopes) ** 2)


best = minimize(
    cost,
    np.ones(7),
    method="SLSQP",
    bounds=[(0.3, 1.35)] * 7,
    constraints={"type": "eq", "fun": lambda slopes: slopes @ steps - 100.0},
    options={"ftol": 1e-16, "maxiter": 10000},
)
print([round(float(value), 6) for value in np.concatenate(([0.0], np.cumsum(best.x * steps)))], best.x)
