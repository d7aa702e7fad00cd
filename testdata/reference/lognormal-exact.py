# High-precision values behind package analysis/lognormal, in mpmath with 20
# digits: the noncentral t distribution, Land's exact limits, the generalized
# limits. Written from the definitions, by adaptive quadrature of each density;
# nothing of the package's own arithmetic is shared.
# Prints JSON: python3 lognormal-exact.py > lognormal-exact.json
import json
import mpmath as mp

mp.mp.dps = 20


def breaks(log_f, lo, hi, drop=70):
    """Points that split [lo, hi] about the bump of exp(log_f), found by search."""
    a, b = lo, hi
    for _ in range(60):  # the top, by thirds
        u, v = a + (b - a) / 3, b - (b - a) / 3
        if log_f(u) < log_f(v):
            a = u
        else:
            b = v
    top = (a + b) / 2
    best = log_f(top)

    def edge(end):
        if log_f(end) > best - drop:
            return end
        inner, outer = top, end
        for _ in range(12):
            m = (inner + outer) / 2
            inner, outer = (m, outer) if log_f(m) > best - drop else (inner, m)
        return outer
    a, b = edge(lo), edge(hi)
    return [a + (top - a) * mp.mpf(i) / 4 for i in range(5)] + [top + (b - top) * mp.mpf(i) / 4 for i in range(1, 5)], best


def area(log_f, lo, hi):
    points, best = breaks(log_f, lo, hi)
    return mp.quad(lambda x: mp.exp(log_f(x) - best), points), best


def log_phi(z):
    return mp.log(mp.erfc(-z / mp.sqrt(2)) / 2)


def noncentral_t(t, nu, d, sign):
    """P(T <= t) for sign 1, P(T > t) for sign -1; x is ln(W/nu)."""
    half = mp.mpf(nu) / 2
    const = half * mp.log(half) - half - mp.loggamma(half)

    def log_f(x):
        return const + half * (x - mp.expm1(x)) + log_phi(sign * (t * mp.exp(x / 2) - d))
    v, best = area(log_f, mp.mpf(-60), mp.mpf(12))
    return v * mp.exp(best)


def land_cdf(n, ybar, s, b):
    """P(U <= u) where the log of the mean is b (Land 1971)."""
    v = (n - 1) * s * s + n * (ybar - b) ** 2
    c = mp.sqrt(n * v)
    u = n * (ybar - b) / c
    x0 = mp.atanh(u)

    def log_f(x):
        return -c / 2 * mp.tanh(x) - (n - 1) * mp.log(mp.cosh(x))
    below, k1 = area(log_f, mp.mpf(-60), x0)
    above, k2 = area(log_f, x0, mp.mpf(60))
    return 1 / (1 + above / below * mp.exp(k2 - k1))


def gci_cdf(n, ybar, s, t):
    """P(T <= t), T = ybar + Z s sqrt(nu/(n w)) + s^2 nu/(2w), w chi-squared."""
    nu = n - 1
    half = mp.mpf(nu) / 2
    const = half * mp.log(half) - half - mp.loggamma(half)

    def log_f(x):
        r = mp.exp(x)
        return const + half * (x - mp.expm1(x)) + log_phi((t - ybar - s * s / (2 * r)) * mp.sqrt(n * r) / s)
    v, best = area(log_f, mp.mpf(-60), mp.mpf(12))
    return v * mp.exp(best)


def solve(f, lo, hi):
    """Root of a monotone f, by Anderson's bracketing secant."""
    return mp.findroot(f, (lo, hi), solver='anderson', tol=1e-16, maxsteps=80, verify=False)


def bracket(f, x, step):
    y = x + step
    while f(x) * f(y) > 0:
        x, y, step = y, y + 2 * step, 2 * step
    return x, y


def land(n, ybar, s, p):
    """The log of Land's limit at one-sided confidence p."""
    f = lambda b: mp.log(land_cdf(n, ybar, s, b) / (1 - p))
    centre = ybar + s * s / 2
    width = mp.sqrt(s * s / n + s ** 4 / (2 * (n - 1)))
    return solve(f, *bracket(f, centre, width if p > 0.5 else -width))


def gci(n, ybar, s, p):
    f = lambda t: gci_cdf(n, ybar, s, t) - p
    centre = ybar + s * s / 2
    width = mp.sqrt(s * s / n + s ** 4 / (2 * (n - 1)))
    return solve(f, *bracket(f, centre, width if f(centre) < 0 else -width))


cases = []

for nu in (4, 14, 49, 500):
    for d in (-3, 0, 1, 5, 20, 50, 100):
        want = {}
        for t in (-2, 0, 1, 5, 20, 60):
            for name, sign in (('below', 1), ('above', -1)):
                v = noncentral_t(mp.mpf(t), nu, mp.mpf(d), sign)
                if v > mp.mpf(10) ** -250:
                    want['%s %g' % (name, t)] = float(v)
        cases.append({'name': 'noncentral t, nu %d, delta %d' % (nu, d), 'input': {'nu': nu, 'delta': d}, 'want': want, 'rel': 1e-12})

for n in (3, 10, 31, 101):
    for s in ('0.1', '1', '3'):
        x = mp.mpf(s)
        want = {}
        for p in ('0.025', '0.05', '0.95', '0.975'):
            pp = mp.mpf(p)
            want[p] = float((land(n, mp.mpf(0), x, pp) - x * x / 2) * mp.sqrt(n - 1) / x)
        cases.append({'name': "Land's constant, n %d, s %s" % (n, s), 'input': {'n': n, 's': float(s)}, 'want': want, 'rel': 1e-9})

sets = {
    'chromium, USEPA 1992': '10 13 20 36 41 59 67 110 110 136 140 160 200 230 1300',
    'USEPA QA/G-9S 2006, box 3-12': '8.12 7.32 4.82 6.52 7.80 11.89 12.94 7.51 18.14 4.09 5.70 15.57 6.68 8.15 5.56',
    'four values': '0.043 0.236 0.057 0.016',
    'made, 20': '31 55 12 140 77 210 18 9.5 64 48 330 25 95 41 120 22 70 15 160 36',
}
for name, text in sets.items():
    x = [mp.log(mp.mpf(v)) for v in text.split()]
    n = len(x)
    ybar = mp.fsum(x) / n
    s = mp.sqrt(mp.fsum((v - ybar) ** 2 for v in x) / (n - 1))
    want = {}
    for p in ('0.025', '0.05', '0.95', '0.975'):
        want['land ' + p] = float(mp.exp(land(n, ybar, s, mp.mpf(p))))
        want['generalized ' + p] = float(mp.exp(gci(n, ybar, s, mp.mpf(p))))
    cases.append({'name': 'limits of ' + name, 'input': {'x': [float(v) for v in text.split()]}, 'want': want, 'rel': 1e-9})

print(json.dumps({
    'source': "the mathematics: definition of the noncentral t; Land 1971, Ann. Math. Stat. 42:1187; Krishnamoorthy and Mathew 2003, J. Stat. Plan. Inference 115:103. Data of the sets as their names say",
    'made_by': 'testdata/reference/lognormal-exact.py',
    'with': 'mpmath, 20 digits',
    'cases': cases}, indent=1))
