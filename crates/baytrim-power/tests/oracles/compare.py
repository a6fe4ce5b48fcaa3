"""Prints the numbers that src/compare.rs and src/drift.rs are held against.

    pip install numpy==2.4.6 scipy==1.17.1
    python compare.py
"""

import numpy as np
from scipy import stats

CASES = [
    ([4.40, 4.41, 4.39], [4.46, 4.45, 4.47, 4.44]),
    ([4.40, 4.43, 4.38], [4.42, 4.41, 4.45]),
    ([4.40, 4.41], [4.31, 4.30, 4.305]),
]
DAY = [
    (0.0, 4.400, 0), (0.4, 4.396, 0), (0.9, 4.391, 0),
    (3.0, 4.370, 1), (3.5, 4.364, 1), (4.0, 4.361, 1),
]

for first, second in CASES:
    interval = stats.ttest_ind(second, first, equal_var=False).confidence_interval(0.95)
    print(first, second, repr(float(interval.low)), repr(float(interval.high)))
t, y, after = (np.array(column, float) for column in zip(*DAY))
design = np.column_stack([np.ones_like(t), t, after])
beta, rss, *_ = np.linalg.lstsq(design, y, rcond=None)
freedom = len(y) - 3
se = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * rss[0] / freedom)
half = stats.t.ppf(0.975, freedom) * se
for place in (1, 2):
    print(*(repr(float(value)) for value in (beta[place], beta[place] - half[place], beta[place] + half[place])))
