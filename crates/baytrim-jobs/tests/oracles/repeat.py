"""Two-way analysis of variance of pulls by nodes; prints what `stage_comparison/repeat.rs` is held against.

Run with statsmodels and pandas installed: python repeat.py
"""

import pandas
import statsmodels.api as sm
from statsmodels.formula.api import ols

PULLS = [
    [0.012, 0.031, -0.004, 0.052, 0.018],
    [0.019, 0.036, 0.006, 0.055, 0.027],
    [0.008, 0.024, -0.007, 0.049, 0.011],
]
rows = [
    {"pull": pull, "node": node, "theta": theta}
    for pull, values in enumerate(PULLS)
    for node, theta in enumerate(values)
]
model = ols("theta ~ C(pull) + C(node)", data=pandas.DataFrame(rows)).fit()
table = sm.stats.anova_lm(model)
between = table.loc["C(pull)", "mean_sq"]
rest = table.loc["Residual", "mean_sq"]
nodes = len(PULLS[0])
print("statsmodels", sm.__version__ if hasattr(sm, "__version__") else "")
print("node percent", 100 * rest**0.5)
print("pull percent", 100 * ((between - rest) / nodes) ** 0.5)
