"""Reference values for the linear algebra, the whitening and the robust weights.

Data: stack loss (Brownlee 1965) and the US macro series (statsmodels' `macrodata`), both shipped with statsmodels.
NIST StRD data sets Wampler1 to 5, Longley and Pontius carry certified values; they are written here so that the
tests need no download. NIST StRD is a United States government reference set.
"""

import json
import pathlib
import sys

import numpy as np
import statsmodels.api as sm
from statsmodels.datasets import longley, macrodata, stackloss

here = pathlib.Path(__file__).parent


def wampler():
    """x = 0..20; y = sum of x^j (1), of (x/10)^j (2), and 1 plus 1, 100, 10000 times a disturbance (3, 4, 5)."""
    delta = [759, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 1838, -2048, 2048, -2048, 1838, -2048, 2048, -2048,
             2523, -2048, 2048, -2048, 759]
    x = list(range(21))
    y1 = [sum(v ** j for j in range(6)) for v in x]
    y2 = [sum((v / 10) ** j for j in range(6)) for v in x]
    ys = [y1, y2] + [[a + s * d for a, d in zip(y1, delta)] for s in (1, 100, 10000)]
    # Certified by NIST: ones for all but Wampler2, which has 0.1^j.
    certified = [[1.0] * 6, [0.1 ** j for j in range(6)]] + [[1.0] * 6] * 3
    return [{"x": x, "y": y, "certified": c} for y, c in zip(ys, certified)]


def longley_set():
    data = longley.load_pandas()
    certified = [-3482258.63459582, 15.0618722713733, -0.035819179292591, -2.02022980381683, -1.03322686717359,
                 -0.0511041056535807, 1829.15146461355]
    return {"x": data.exog.values.tolist(), "y": data.endog.values.tolist(), "certified": certified}


def stack_loss():
    data = stackloss.load_pandas()
    x = sm.add_constant(data.exog.values, prepend=False)
    y = data.endog.values
    huber = sm.RLM(y, x, M=sm.robust.norms.HuberT(t=1.345)).fit(tol=1e-12, maxiter=500)
    tukey = sm.RLM(y, x, M=sm.robust.norms.TukeyBiweight(c=4.685)).fit(tol=1e-12, maxiter=500)
    return {
        "x": x.tolist(),
        "y": y.tolist(),
        "huber": huber.params.tolist(),
        "huber_scale": huber.scale,
        "huber_weights": huber.weights.tolist(),
        "tukey": tukey.params.tolist(),
        "tukey_weights": tukey.weights.tolist(),
    }


def macro():
    data = macrodata.load_pandas().data
    y = np.log(data["realcons"].values)
    x = sm.add_constant(np.log(data["realgdp"].values))
    ols = sm.OLS(y, x).fit()
    newey_west = ols.get_robustcov_results(cov_type="HAC", maxlags=4, use_correction=False)
    rho = 0.9
    n = len(y)
    sigma = rho ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    gls = sm.GLS(y, x, sigma=sigma).fit()
    glsar = sm.GLSAR(y, x, rho=1)
    cochrane_orcutt = glsar.iterative_fit(maxiter=200, rtol=1e-14)
    return {
        "x": x.tolist(),
        "y": y.tolist(),
        "ols": ols.params.tolist(),
        "ols_se": ols.bse.tolist(),
        "newey_west_se_4": newey_west.bse.tolist(),
        "rho": rho,
        "gls_exact": gls.params.tolist(),
        "gls_exact_ln_det": float(np.linalg.slogdet(sigma)[1]),
        "cochrane_orcutt": cochrane_orcutt.params.tolist(),
        "cochrane_orcutt_rho": float(glsar.rho[0]),
    }


out = {
    "made_with": {"numpy": np.__version__, "statsmodels": sm.__version__ if hasattr(sm, "__version__") else
                  sys.modules["statsmodels"].__version__},
    "wampler": wampler(),
    "longley": longley_set(),
    "stack_loss": stack_loss(),
    "macro": macro(),
}
(here / "regression.json").write_text(json.dumps(out, indent=1) + "\n")
