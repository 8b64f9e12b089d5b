#!/usr/bin/env python3
"""Compares the throughput statistics with statsmodels, scipy and numpy on random inputs.

Test only. Needs Python 3.11 or newer, cargo and the network once: it makes its own environment under target/.

    tests/bench/throughput_agreement.py [inputs per statistic, 10000] [seed, 1]

Per statistic it prints the largest difference, relative to the larger of 1 and the reference, beside the tolerance.
It fails if any is larger, or where one side has an answer and the other has none.
"""

import json
import math
import subprocess
import sys

import environment
from environment import ROOT

PINNED = ["numpy==2.1.3", "pandas==2.2.3", "scipy==1.14.1", "statsmodels==0.14.4"]


def main():
    environment.enter("throughput-agreement", PINNED)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    failed = False
    print(f"{count} inputs per statistic, seed {seed}; {', '.join(PINNED)}")
    print(f"{'statistic':<14} {'reference':<44} {'largest':>9} {'tolerance':>9}")
    for number, (name, (make, refer, by, tolerance)) in enumerate(statistics().items()):
        random = numpy().random.default_rng([seed, number])
        questions = [make(random) for _ in range(count)]
        answers = ours([{"statistic": name, **question} for question in questions])
        worst, at = 0.0, None
        for question, answer in zip(questions, answers):
            off = difference(answer, refer(**question))
            if not off <= worst:
                worst, at = off, (question, answer)
        verdict = "ok" if worst <= tolerance else "DISAGREES"
        print(f"{name:<14} {by:<44} {worst:9.1e} {tolerance:9.0e} {verdict}")
        if worst > tolerance:
            failed = True
            print("   at", json.dumps(at[0]), "\n   ours", at[1], "\n   theirs", refer(**at[0]))
    sys.exit(1 if failed else 0)


def ours(questions):
    """The project's answers, all in one run of the example."""
    program = ["cargo", "run", "--locked", "--quiet", "-p", "domain", "--example", "throughput_numbers"]
    lines = "".join(json.dumps(question) + "\n" for question in questions)
    done = subprocess.run(program, cwd=ROOT, input=lines, stdout=subprocess.PIPE, text=True, check=True)
    return [json.loads(line) for line in done.stdout.splitlines()]


def difference(mine, theirs):
    """Infinite where one is missing or no number."""
    if mine is None or theirs is None:
        return 0.0 if mine is theirs else math.inf
    if len(mine) != len(theirs):
        return math.inf
    each = [abs(a - b) / max(1.0, abs(b)) if a is not None else math.inf for a, b in zip(mine, theirs)]
    return math.inf if any(math.isnan(off) for off in each) else max(each)


def numpy():
    import numpy

    return numpy


# ---- random inputs ----


def whole(random, low, high):
    return int(random.integers(low, high))


def series(random, low=2, high=80):
    center, spread = random.uniform(-50, 50), 10 ** random.uniform(-3, 1)
    return [float(value) for value in random.normal(center, spread, whole(random, low, high))]


def make_wilson(random):
    trials = whole(random, 0, 2000)
    return {"hits": whole(random, 0, trials + 1), "trials": trials}


def make_nig(random):
    return {
        "mean_ln": random.uniform(-2, 4),
        "strength": 10 ** random.uniform(-1, 3),
        "shape": random.uniform(1.1, 200),
        "scale": 10 ** random.uniform(-2, 2),
        "seen": [float(ln) for ln in random.normal(random.uniform(-2, 4), 0.5, whole(random, 0, 60))],
        "p": random.uniform(0.01, 0.99),
    }


def make_gamma_poisson(random):
    return {
        "shape": 10 ** random.uniform(-1, 2),
        "rate": 10 ** random.uniform(-1, 2),
        "events": float(whole(random, 0, 60)),
        "exposure": 10 ** random.uniform(-1, 2),
        "p": random.uniform(0.01, 0.99),
    }


def make_wright(random):
    slope, first = random.uniform(-0.6, 0.1), random.uniform(-1, 5)
    units = numpy().cumsum(random.uniform(0.5, 20, whole(random, 3, 60))) + 0.5
    return {
        "points": [
            (float(unit), float(first + slope * math.log(unit) + random.normal(0, 0.2)), float(whole(random, 1, 30)))
            for unit in units
        ]
    }


def make_ewma(random):
    return {
        "values": series(random, 1),
        "lambda": random.uniform(0.05, 1),
        "target": random.uniform(-50, 50),
        "sigma": 10 ** random.uniform(-2, 1),
    }


def make_individuals(random):
    return {"values": series(random, 1)}


def make_poisson(random):
    return {"events": whole(random, 0, 1000)}


def make_funnel(random):
    between = 0.0 if random.random() < 0.3 else 10 ** random.uniform(-3, 0)
    return {
        "expected": 10 ** random.uniform(-1, 3),
        "between": between,
        "outside": float(random.choice([0.05, 0.002])),
    }


def make_between(random):
    """Groups around their common mean; of every other set nothing is drawn in."""
    np, n = numpy(), whole(random, 2, 40)
    variances = 10 ** random.uniform(-3, 0, n)
    values = random.normal(0, np.sqrt(variances + random.choice([0, 0.01, 1.0])))
    values -= np.sum(values / variances) / np.sum(1 / variances)
    groups = [(float(value), float(variance)) for value, variance in zip(values, variances)]
    return {"groups": groups, "drawn_in": float(random.choice([0.0, 0.1]))}


def make_median(random):
    return {"values": series(random, 1, 400)}


def make_ratio(random):
    pairs = zip(random.uniform(0, 100, whole(random, 1, 60)), random.uniform(1, 40, 60))
    return {"pairs": [(float(above), float(below)) for above, below in pairs]}


# ---- references ----


def wilson(hits, trials):
    from statsmodels.stats.proportion import proportion_confint

    if trials == 0:
        return None
    return [float(end) for end in proportion_confint(hits, trials, 0.05, method="wilson")]


def nig(mean_ln, strength, shape, scale, seen, p):
    """Murphy 2007, Conjugate Bayesian analysis of the Gaussian distribution, section 6; scipy's t and gammaln."""
    from scipy.special import gammaln
    from scipy.stats import t

    np, n = numpy(), len(seen)
    mean = np.mean(seen) if n else 0.0
    k, a = strength + n, shape + n / 2
    m = (strength * mean_ln + n * mean) / k
    b = scale + 0.5 * np.sum((np.array(seen) - mean) ** 2) + strength * n * (mean - mean_ln) ** 2 / (2 * k)
    new = t.ppf(p, 2 * a, loc=m, scale=math.sqrt(b * (k + 1) / (a * k)))
    level = t.ppf(p, 2 * a, loc=m, scale=math.sqrt(b / (a * k)))
    evidence = gammaln(a) - gammaln(shape) + shape * math.log(scale) - a * math.log(b)
    evidence += 0.5 * math.log(strength / k) - n / 2 * math.log(2 * math.pi)
    return [float(number) for number in (m, b, new, level, evidence)]


def gamma_poisson(shape, rate, events, exposure, p):
    from scipy.stats import gamma

    after = gamma(shape + events, scale=1 / (rate + exposure))
    return [float(after.mean()), float(after.ppf(p))]


def wright(points):
    from statsmodels.regression.linear_model import WLS
    from statsmodels.tools import add_constant

    np = numpy()
    units, lns, weights = (np.array(column) for column in zip(*points))
    fit = WLS(lns, add_constant(np.log(units)), weights=weights).fit()
    low, high = fit.conf_int(0.05)[1]
    return [float(number) for number in (fit.params[0], 2 ** fit.params[1], 2**low, 2**high, fit.rsquared)]


def ewma(values, target, sigma, **named):
    """A linear filter: y[n] = lambda x[n] + (1 - lambda) y[n - 1]."""
    from scipy.signal import lfilter

    weight = named["lambda"]
    smooth, _ = lfilter([weight], [1, weight - 1], values, zi=[(1 - weight) * target])
    half = 3 * sigma * math.sqrt(weight / (2 - weight))
    return [float(value) for value in smooth] + [target - half, target + half]


def individuals(values):
    np = numpy()
    if len(values) < 2:
        return None
    mean, moving = float(np.mean(values)), float(np.mean(np.abs(np.diff(values))))
    return [mean, moving, mean - 3 * moving / 1.128, mean + 3 * moving / 1.128, 3.267 * moving]


def poisson(events):
    from statsmodels.stats.rates import confint_poisson

    low, high = confint_poisson(events, 1, method="exact-c")
    return [0.0 if events == 0 else float(low), float(high)]


def funnel(expected, between, outside):
    """Where the tail between whole numbers is the share left outside: of Poisson's distribution the regularised gamma
    function, of the negative binomial one the regularised beta function."""
    from scipy.optimize import brentq
    from scipy.special import betainc, gammaincc

    def at_most(events):
        if between == 0:
            return gammaincc(events + 1, expected)
        shape = 1 / between
        return betainc(shape, events + 1, shape / (shape + expected))

    def solve(share):
        tail = lambda events: at_most(events) - share
        low, spread = -1 + 1e-12, math.sqrt(expected + between * expected**2)
        return max(0.0, brentq(tail, low, expected + 12 * spread + 40, xtol=1e-13)) if tail(low) < 0 else 0.0

    return [solve(outside / 2) / expected, solve(1 - outside / 2) / expected]


def between(groups, drawn_in):
    """DerSimonian and Laird's variance; with z-scores drawn in, from numpy's quantiles (Spiegelhalter 2005)."""
    from statsmodels.stats.meta_analysis import combine_effects

    np = numpy()
    values, variances = (np.array(column) for column in zip(*groups))
    if drawn_in == 0:
        return [max(0.0, float(combine_effects(values, variances, method_re="dl").tau2))]
    scores = values / np.sqrt(variances)
    scores = np.clip(scores, *np.quantile(scores, [drawn_in, 1 - drawn_in]))
    weights = 1 / variances
    beyond = np.sum(scores**2) - (len(groups) - 1)
    return [max(0.0, float(beyond / (np.sum(weights) - np.sum(weights**2) / np.sum(weights))))]


def median(values):
    from scipy.stats import binom

    ordered, n = sorted(values), len(values)
    outside = next(k for k in range(n + 1) if binom.cdf(k, n, 0.5) > 0.025)
    return [ordered[outside - 1], ordered[n - outside]] if outside > 0 else None


def ratio(pairs):
    from scipy.stats import t

    np, n = numpy(), len(pairs)
    if n < 2:
        return None
    above, below = (np.array(column) for column in zip(*pairs))
    middle = above.sum() / below.sum()
    error = math.sqrt(n / (n - 1) * np.sum((above - middle * below) ** 2)) / below.sum()
    return [float(end) for end in t.interval(0.95, n - 1, loc=middle, scale=error)]


def statistics():
    """By name: how inputs are made, the reference, its name, and the largest difference allowed."""
    return {
        "wilson": (make_wilson, wilson, "statsmodels proportion_confint", 1e-9),
        "nig": (make_nig, nig, "scipy t, gammaln; closed form", 1e-7),
        "gamma_poisson": (make_gamma_poisson, gamma_poisson, "scipy gamma", 1e-7),
        "wright": (make_wright, wright, "statsmodels WLS", 1e-7),
        "ewma": (make_ewma, ewma, "scipy lfilter", 1e-10),
        "individuals": (make_individuals, individuals, "numpy mean, diff", 1e-10),
        "poisson": (make_poisson, poisson, "statsmodels confint_poisson exact", 1e-7),
        "funnel": (make_funnel, funnel, "scipy gammaincc, betainc, brentq", 1e-7),
        "between": (make_between, between, "statsmodels combine_effects; numpy", 1e-9),
        "median": (make_median, median, "scipy binom", 1e-12),
        "ratio": (make_ratio, ratio, "scipy t; linearised by numpy", 1e-7),
    }


if __name__ == "__main__":
    main()
