"""Reference values for pooling: random effects of vehicles of one kind, in one dimension and in several.

Data: the thirteen trials of BCG vaccine of Colditz and others (1994), written here from the literature. The published
worked example is Viechtbauer (2010), Journal of Statistical Software 36(3): restricted likelihood gives tau^2 = 0.3132,
mean -0.7145, standard error 0.1798, all to the printed digits; this script finds the same with scipy, and the estimates
of DerSimonian and Laird and of Paule and Mandel with statsmodels' `combine_effects`.
"""

import json
import pathlib

import numpy as np
import statsmodels
from scipy import linalg, optimize, stats
from statsmodels.stats.meta_analysis import combine_effects

here = pathlib.Path(__file__).parent
TRIALS = [(4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
          (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232),
          (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825)]


def effects():
    """Logarithm of the relative risk and its variance."""
    y = [np.log((a / (a + b)) / (c / (c + d))) for a, b, c, d in TRIALS]
    v = [1 / a - 1 / (a + b) + 1 / c - 1 / (c + d) for a, b, c, d in TRIALS]
    return np.array(y), np.array(v)


def restricted(tau2, y, v):
    """-2 ln of the restricted likelihood, save for a constant."""
    w = 1 / (v + tau2)
    mean = (w * y).sum() / w.sum()
    return np.log(v + tau2).sum() + np.log(w.sum()) + (w * (y - mean) ** 2).sum()


def several():
    """Vehicles with three needs each, one of them without the third: mean and covariance of the next, and the
    logarithm of the marginal likelihood less that without any spread, by the dense covariance of all of them."""
    rng = np.random.default_rng(7)
    between = np.array([[4.0, 1.0, 0.5], [1.0, 3.0, 1.0], [0.5, 1.0, 2.0]])
    before = 25.0 * np.eye(3) + 9.0
    vehicles = []
    for number in range(4):
        size = 2 if number == 1 else 3
        root = rng.normal(size=(size + 2, size))
        vehicles.append((root.T @ root, rng.normal(size=size) * 2))
    parts = [np.eye(3)[:len(y)] for _, y in vehicles]
    design = np.vstack(parts)
    noise = linalg.block_diag(*[np.linalg.inv(p) for p, _ in vehicles])
    y = np.concatenate([y for _, y in vehicles])
    all_between = linalg.block_diag(*[part @ between @ part.T for part in parts])
    covariance = noise + all_between + design @ before @ design.T
    gain = before @ design.T @ np.linalg.inv(covariance)
    zero = np.zeros(len(y))
    of = stats.multivariate_normal.logpdf
    return {
        "precision": [(part.T @ p @ part).tolist() for part, (p, _) in zip(parts, vehicles)],
        "right": [(part.T @ p @ y).tolist() for part, (p, y) in zip(parts, vehicles)],
        "between": between.tolist(),
        "before": before.tolist(),
        "mean": (gain @ y).tolist(),
        "covariance": (before - gain @ design @ before + between).tolist(),
        "minus_two_ln": -2 * (of(y, zero, covariance) - of(y, zero, noise)),
    }


y, v = effects()
found = optimize.minimize_scalar(lambda t: restricted(t, y, v), bounds=(0, 2), method="bounded",
                                 options={"xatol": 1e-12})
tau2 = found.x
w = 1 / (v + tau2)
tails = [(x, k, stats.chi2.sf(x, k)) for x, k in [(3.0, 1), (12.0, 5), (18.307, 10), (40.0, 20), (80.0, 40)]]
(here / "pooling.json").write_text(json.dumps({
    "versions": {"statsmodels": statsmodels.__version__},
    "effect": y.tolist(),
    "variance": v.tolist(),
    "restricted": {"tau2": tau2, "mean": (w * y).sum() / w.sum(), "standard_error": w.sum() ** -0.5},
    "by_tau2": {
        name: {"tau2": result.tau2, "mean": result.mean_effect_re, "standard_error": float(result.sd_eff_w_re)}
        for name, result in [("dersimonian_laird", combine_effects(y, v, method_re="chi2")),
                             ("paule_mandel", combine_effects(y, v, method_re="iterated"))]},
    "several": several(),
    "chi_square": [[x, k, float(tail)] for x, k, tail in tails],
}, indent=1) + "\n")
