"""The margin at which a casting comes out with a given chance, with statsmodels and SciPy.

Logistic regression of the twenty-three flights of S. R. Dalal, E. B. Fowlkes and B. Hoadley, Risk
analysis of the space shuttle, J. Am. Stat. Assoc. 84 (1989) 945, Table 1: temperature of the joint
at launch in °F and whether any field joint suffered. The ends of the interval of a limit are where
the profile of the likelihood has fallen by half the chi-squared quantile. Written apart from the
crate; shares no code with it. tests/yields.rs holds the crate against the figures printed here.

    python3 limit_scipy.py     (statsmodels and SciPy; the versions are printed first)
"""

import numpy as np
import scipy
import statsmodels
import statsmodels.api as sm
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

TEMPERATURE = [53, 57, 58, 63, 66, 67, 67, 67, 68, 69, 70, 70, 70, 70, 72, 73, 75, 75, 76, 76, 78, 79, 81]
SUFFERED = [1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0]

# The colder the worse: the margin is how far below 100 °F it was.
x = 100.0 - np.array(TEMPERATURE, float)
y = 1.0 - np.array(SUFFERED, float)
fit = sm.GLM(y, sm.add_constant(x), family=sm.families.Binomial()).fit(tol=1e-14, maxiter=200)
a, b = fit.params
print(f"statsmodels {statsmodels.__version__}, SciPy {scipy.__version__}")
print(f"intercept {a:.6f} slope {b:.6f} log likelihood {fit.llf:.6f}")
print("logit of suffering against temperature: %.4f %.4f" % (-(a + 100 * b), b))


def log_likelihood(eta):
    return float(np.sum(y * eta - np.logaddexp(0.0, eta)))


def profile(limit, logit):
    """The greatest likelihood with the chance held at the limit."""
    found = minimize_scalar(
        lambda slope: -log_likelihood(logit + slope * (x - limit)),
        bounds=(-30.0, 30.0), method="bounded", options={"xatol": 1e-12, "maxiter": 2000},
    )
    return -found.fun


drop = chi2.ppf(0.95, 1) / 2.0
for chance in (0.9, 0.5, 0.1):
    logit = np.log(chance / (1.0 - chance))
    at = (logit - a) / b
    gap = lambda limit: fit.llf - profile(limit, logit) - drop
    ends = []
    for way in (-1.0, 1.0):
        far = 1.0
        while gap(at + way * far) < 0.0:
            far *= 1.5
        ends.append(brentq(gap, at, at + way * far, xtol=1e-9))
    print(f"chance {chance}: limit {at:.5f}, {ends[0]:.4f} to {ends[1]:.4f}")
