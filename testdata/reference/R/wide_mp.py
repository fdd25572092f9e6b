# Noncentral t far outside the grids of make.R (noncentrality up to 400, fractional degrees of freedom, deep tails),
# tolerance factors at large n, and quantiles of t, chi-square, F and beta, in 40-digit arithmetic.
# Writes cases/b_nct_wide.json, cases/b_tolerance_k_large_n.json and cases/b_classic_quantiles.json.
#   usage: python3 R/wide_mp.py [quantiles]     (python3 + mpmath 1.3.0; half an hour for all, two minutes for the
#   quantiles of t, chi-square, F and beta alone; no network)
import json, sys
from mpmath import mp, mpf, quad, erfc, sqrt, log, exp, loggamma, betainc, gammainc, pi

mp.dps = 40

def lnphi(z):
    return log(erfc(-z / sqrt(mpf(2))) / 2)

def tail(nu, delta, t, upper):
    """P(T > t) or P(T <= t) with T = (Z + delta)/S, integrated over u = log S with break points around the peak."""
    nu, delta, t = mpf(nu), mpf(delta), mpf(t)
    sign = -1 if upper else 1
    x = nu / 2
    c = log(2) + x * log(x) - x - loggamma(x)
    def g(u):
        e = exp(u)
        return c + lnphi(sign * (t * e - delta)) - x * (e * e - 1 - 2 * u)
    # peak by golden section: the integrand has a single maximum
    a, b = mpf(-60), mpf(5)
    r = (sqrt(mpf(5)) - 1) / 2
    lo, hi = b - r * (b - a), a + r * (b - a)
    flo, fhi = g(lo), g(hi)
    for _ in range(120):
        if flo > fhi:
            b, hi, fhi = hi, lo, flo
            lo = b - r * (b - a); flo = g(lo)
        else:
            a, lo, flo = lo, hi, fhi
            hi = a + r * (b - a); fhi = g(hi)
    m = (a + b) / 2
    top = g(m)
    def end(s):
        d = mpf(10) ** -6
        while g(m + s * d) > top - 75:
            d *= 2
        k = d / 2
        for _ in range(20):
            mid = (k + d) / 2
            if g(m + s * mid) > top - 75: k = mid
            else: d = mid
        return m + s * d
    A, B = end(-1), end(1)
    P = [A + (m - A) * i / 12 for i in range(12)] + [m + (B - m) * i / 12 for i in range(13)]
    if t > 0:
        for z in (-8, -4, -2, 0, 2, 4, 8):
            if delta + z > 0:
                w = log((delta + z) / t)
                if A < w < B: P.append(w)
    P = sorted(set(P))
    return exp(top) * quad(lambda u: exp(g(u) - top), P, maxdegree=6)

def f(x):
    return float(mp.nstr(x, 20))

def nct_quantile(nu, delta, p, start):
    """secant in log t of the smaller tail"""
    p = mpf(p); upper = p > mpf(1) / 2
    want = log(1 - p if upper else p)
    h = lambda t: log(tail(nu, delta, t, upper)) - want
    a, b = mpf(start), mpf(start) * (1 + mpf(10) ** -4)
    fa, fb = h(a), h(b)
    for _ in range(30):
        a, b, fa = b, b - fb * (b - a) / (fb - fa), fb
        fb = h(b)
        if abs(b - a) < mpf(10) ** -20 * abs(b): break
    return b

def write(id, title, source, notes, columns, keys, tolerance, calls, rows):
    doc = {"id": id, "section": "b", "title": title, "source": source, "software": "mpmath 1.3.0", "notes": notes,
           "table": {"columns": columns, "key_columns": keys, "tolerance": tolerance, "calls": calls}}
    head = json.dumps(doc, indent=1)
    body = ",\n".join("   " + json.dumps(r) for r in rows)
    end = head.rstrip()[:-1].rstrip()[:-1].rstrip()  # open the two outer objects
    with open("cases/" + id + ".json", "w") as out:
        out.write(end + ',\n  "rows": [\n' + body + "\n  ]\n }\n}\n")
    print(id, len(rows))

quantiles_only = sys.argv[1:] == ["quantiles"]
rows = []
for nu in () if quantiles_only else (0.5, 1, 2.5, 7.25, 30, 149, 273, 559, 5000, 1000000):
    for delta in (-37.75, -3, 0, 1.5, 37.75, 60, 120.5, 218.5, 400):
        for z, w in ((0, 0), (2, 1), (-2, -1), (6, 2), (-6, -2), (14, 3), (-14, -3), (0, 4)):
            s = float(exp(-mpf(w) / sqrt(2 * mpf(nu) + 1)))
            t = round((delta + z) / s, 4)
            if t <= 0: continue
            lo, up = tail(nu, delta, t, False), tail(nu, delta, t, True)
            assert abs(lo + up - 1) < mpf(10) ** -25, (nu, delta, t)
            if min(lo, up) > mpf(10) ** -280:
                rows.append([nu, delta, t, f(lo), f(up)])
if not quantiles_only: write("b_nct_wide", "Noncentral t distribution function, wide grid", "mathematical function, integrated with 40 digits (R/wide_mp.py)",
      "Both tails to be met relatively, however small.", ["df", "ncp", "t", "cdf", "upper"], ["df", "ncp", "t"],
      {"cdf": {"rel": 1e-11, "abs": 0}, "upper": {"rel": 1e-11, "abs": 0}}, {"cdf": "R/wide_mp.py tail", "upper": "R/wide_mp.py tail"}, rows)

rows = []
for n in () if quantiles_only else (150, 200, 274, 276, 400, 560, 900, 1500, 5000):
    for conf in (0.9, 0.95, 0.99):
        for cov in (0.9, 0.95, 0.99, 0.999):
            z = sqrt(mpf(2)) * mp.erfinv(2 * mpf(cov) - 1)
            root = sqrt(mpf(n))
            k = nct_quantile(n - 1, z * root, conf, (z + 2 / root) * root) / root
            rows.append([n, conf, cov, f(k)])
if not quantiles_only: write("b_tolerance_k_large_n", "One-sided normal tolerance factors, large n", "k = t'(conf; n-1, sqrt(n) z(coverage))/sqrt(n), 40 digits (R/wide_mp.py)",
      "Noncentralities above 37.6, where series in double precision fail.", ["n", "conf", "coverage", "k"], ["n", "conf", "coverage"],
      {"k": {"rel": 1e-11, "abs": 0}}, {"k": "R/wide_mp.py nct_quantile"}, rows)

# Classic quantiles: bisection on the 40-digit distribution functions. p is the float64 itself.
def solve(F, p, a, b):
    a, b = mpf(a), mpf(b)
    for _ in range(400):
        m = sqrt(a * b)
        if F(m) < p: a = m
        else: b = m
        if b - a < mpf(10) ** -22 * b: break
    return (a + b) / 2
def t_q(p, nu):
    if p == 0.5: return mpf(0)
    if p < 0.5: return -solve(lambda t: betainc(nu / 2, mpf(1) / 2, 0, nu / (nu + t * t), True) * -1, -2 * mpf(p), mpf(10)**-60, mpf(10)**60)
    return solve(lambda t: -betainc(nu / 2, mpf(1) / 2, 0, nu / (nu + t * t), True), -2 * (1 - mpf(p)), mpf(10)**-60, mpf(10)**60)
def chi_q(p, nu): return solve(lambda x: gammainc(nu / 2, 0, x / 2, regularized=True), mpf(p), 1e-60 if nu < 1 else 1e-30, 1e9)
def f_q(p, d1, d2): return solve(lambda x: betainc(d1 / 2, d2 / 2, 0, d1 * x / (d1 * x + d2), True), mpf(p), mpf(10)**-80, mpf(10)**80)
def beta_q(p, a, b): return solve(lambda x: betainc(a, b, 0, x, True), mpf(p), mpf(10)**-80, 1)
rows = []
for p in (1e-9, 1e-4, 0.01, 0.05, 0.25, 0.499, 0.6, 0.9, 0.95, 0.975, 0.99, 0.999, 0.999999):
    for nu in (0.5, 1, 1.7, 4, 10.5, 29, 120, 1000.5, 100000):
        nu = mpf(nu)
        rows.append([1, p, f(nu), 0, f(t_q(p, nu))])
        rows.append([2, p, f(nu), 0, f(chi_q(p, nu))])
for p in (0.01, 0.05, 0.5, 0.95, 0.999, 0.99975):
    for d1, d2 in ((1, 5), (1, 38), (2, 2), (2.5, 7.25), (5, 24), (3, 400), (9, 90.5)):
        rows.append([3, p, d1, d2, f(f_q(p, mpf(d1), mpf(d2)))])
for p in (0.01, 0.05, 0.1, 0.5, 0.9):
    for a, b in ((1, 2), (5, 1), (28, 2), (57, 3), (298, 2), (2.5, 0.75), (4000, 9)):
        rows.append([4, p, a, b, f(beta_q(p, mpf(a), mpf(b)))])
write("b_classic_quantiles", "Quantiles of t, chi-square, F and beta", "mathematical functions, bisection with 40 digits (R/wide_mp.py)",
      "kind: 1 t (a = df), 2 chi-square (a = df), 3 F (a, b = df), 4 beta (a, b)", ["kind", "p", "a", "b", "q"], ["kind", "p", "a", "b"],
      {"q": {"rel": 1e-10, "abs": 0}}, {"q": "R/wide_mp.py"}, rows)
