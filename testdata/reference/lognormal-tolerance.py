#!/usr/bin/env python3
# Two-sided tolerance factors from their definition, to 20 digits: the k at which
# P(Phi(xbar + k s) - Phi(xbar - k s) >= p) is the confidence, for a sample of n from
# the standard normal distribution. Given xbar = x the share is p where k s = r(x), so
# it is P(s >= r(x)/k), averaged over x by tanh-sinh quadrature.
# Prints JSON: python3 lognormal-tolerance.py > lognormal-tolerance.json
import json
import mpmath
from mpmath import mp, mpf, sqrt, exp, erfc, pi

mp.dps = 20


def phi(x):
    return erfc(-x / sqrt(mpf(2))) / 2


def half_width(x, p):
    lo, hi = mpf(0), x + 10
    for _ in range(20):
        mid = (lo + hi) / 2
        if phi(x + mid) - phi(x - mid) < p:
            lo = mid
        else:
            hi = mid
    r = (lo + hi) / 2
    for _ in range(8):  # Newton
        d = exp(-(x + r) ** 2 / 2) + exp(-(x - r) ** 2 / 2)
        r -= (phi(x + r) - phi(x - r) - p) * sqrt(2 * pi) / d
    return r


def factor(n, p, confidence):
    nu = mpf(n - 1)
    known = {}

    def r(x):
        if x not in known:
            known[x] = half_width(x, p)
        return known[x]

    def short(k):
        def f(x):
            return mpmath.gammainc(nu / 2, 0, nu * (r(x) / k) ** 2 / 2, regularized=True) * exp(-n * x * x / 2)
        wide = 12 / sqrt(mpf(n))
        return 2 * sqrt(n / (2 * pi)) * mpmath.quad(f, [0, wide / 4, wide / 2, wide], maxdegree=5)
    lo, hi = mpf(0), 2 * nu + 40  # chi-squared at 1 - confidence, by halving
    for _ in range(75):
        chi = (lo + hi) / 2
        if mpmath.gammainc(nu / 2, 0, chi / 2, regularized=True) < 1 - confidence:
            lo = chi
        else:
            hi = chi
    howe = sqrt(mpf(2)) * mpmath.erfinv(p) * sqrt(nu * (1 + mpf(1) / n) / chi)
    a, b = howe, howe * mpf('0.99')
    fa, fb = (mpmath.log(short(k) / (1 - confidence)) for k in (a, b))
    while abs(b - a) > mpf('1e-15'):  # secants
        a, b, fa = b, b - fb * (b - a) / (fb - fa), fb
        fb = mpmath.log(short(b) / (1 - confidence))
    return b, howe


cases = []
for n, p, c in [(3, '0.9', '0.95'), (5, '0.9', '0.95'), (5, '0.99', '0.9'), (10, '0.9', '0.95'), (10, '0.5', '0.5'),
                (20, '0.95', '0.99'), (43, '0.9', '0.99'), (200, '0.9', '0.95')]:
    k, howe = factor(n, mpf(p), mpf(c))
    cases.append({'name': f'two-sided tolerance: {n} values, {p} of homes, confidence {c}',
                  'input': {'n': n, 'p': float(p), 'confidence': float(c)},
                  'want': {'factor': float(k), 'howe': float(howe)}, 'rel': 1e-11})

print(json.dumps({
    'source': "the definition of two-sided normal tolerance limits (Wald and Wolfowitz 1946), and Howe's 1969 closed form, by quadrature to 20 digits",
    'made_by': 'testdata/reference/lognormal-tolerance.py',
    'with': 'mpmath ' + mpmath.__version__,
    'cases': cases}, indent=1))
