#!/usr/bin/env python3
"""Compares the upkeep forecast's distributions and models with scipy, lifelines and pvlib on random inputs.

Test only, one command from the root of the tree:

    python3 tests/bench/upkeep_agreement.py [count] [seed]

It makes its own environment under target/ with the pinned versions below, builds the example `upkeep_answers` and asks
it `count` (10,000) random questions per row. Per row it prints how many values agree and the largest difference; it
ends with 1 when one value is further off than the tolerance stated.
"""

import itertools
import multiprocessing
import os
import pathlib
import subprocess
import sys
import warnings

import environment
from environment import ROOT

# So many questions are made at a time; the fits of lifelines take a tenth of a second each.
PART = 250
PINNED = ["numpy==2.4.4", "scipy==1.17.1", "pandas==2.3.3", "lifelines==0.30.3", "pvlib==0.16.1"]

environment.enter("upkeep-agreement", PINNED)

import lifelines  # noqa: E402
import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
import pvlib  # noqa: E402
import scipy  # noqa: E402
from scipy import optimize, special, stats  # noqa: E402


class Row:
    """Questions about one thing, what the other library says, and how far off an answer may be."""

    def __init__(self, word, what, peer, tolerance, absolute=0.0):
        self.word, self.what, self.peer = word, what, peer
        self.tolerance, self.absolute = tolerance, absolute
        self.questions, self.expected = [], []

    def ask(self, numbers, expected):
        self.questions.append(" ".join([self.word, *(repr(float(x)) for x in numbers)]))
        self.expected.append(np.atleast_1d(np.asarray(expected, dtype=float)))

    def judge(self, answers):
        values = worst = wrong = 0
        for question, expected, answer in zip(self.questions, self.expected, answers):
            got = np.array([float(x) for x in answer.split(" ")])
            if got.shape != expected.shape:
                raise SystemExit(f"{self.word}: {len(got)} values instead of {len(expected)}")
            off = np.abs(got - expected) / (np.abs(expected) + self.absolute / self.tolerance)
            bad = ~(off <= self.tolerance)
            values, wrong = values + len(got), wrong + int(bad.sum())
            worst = max(worst, float(np.nanmax(off)))
            if bad.any() and wrong <= 3:
                print(f"    {question[:150]}\n      got {got[bad][:4]} expected {expected[bad][:4]}")
        verdict = "agree" if wrong == 0 else f"{wrong} WRONG"
        print(
            f"{self.what:58} {self.peer:10} {len(self.questions):6} {values:8} "
            f"{worst:10.1e} {self.tolerance:8.0e}  {verdict}"
        )
        return wrong == 0


def weibull(rng, count):
    """Random censored lives: the fit and what follows from it."""
    scale = Row("scale", "Weibull scale at the fitted shape, right-censored", "lifelines", 1e-4)
    life = Row("weibull", "Weibull reliability and age at a reliability", "lifelines", 1e-9, 1e-10)
    for _ in range(count):
        shape, size, lives = rng.uniform(0.8, 6.0), rng.uniform(5.0, 2000.0), rng.integers(8, 40)
        ages = size * rng.weibull(shape, lives)
        ends = size * rng.uniform(0.5, 2.0, lives)
        ended = ages <= ends
        ended[:2] = True
        seen = np.where(ended, ages, ends)
        fit = lifelines.WeibullFitter().fit(seen, ended)
        scale.ask([fit.rho_, ended.sum(), *seen[ended], *seen[~ended]], fit.lambda_)
        age, reliability = size * rng.uniform(0.05, 2.0), rng.uniform(0.02, 0.98)
        expected = [fit.survival_function_at_times(age).iloc[0], fit.percentile(reliability)]
        life.ask([fit.rho_, fit.lambda_, age, reliability], expected)
    return [scale, life]


def learned(rng, count):
    """A Weibull life with a gamma-distributed rate is a Burr XII distribution."""
    row = Row("learned", "learned life (Burr XII): reliability and age at one", "scipy", 1e-9, 1e-12)
    for _ in range(count):
        shape, known, size = rng.uniform(1.1, 8.0), rng.uniform(0.5, 200.0), rng.uniform(0.3, 3.0)
        total = known * size**shape
        peer = stats.burr12(shape, known, scale=total ** (1 / shape))
        age, reliability = size * rng.uniform(0.05, 2.5), rng.uniform(0.01, 0.99)
        row.ask([shape, known, total, age, reliability], [peer.sf(age), peer.isf(reliability)])
    return [row]


def growth(rng, count):
    """Gamma process: of a known rate, and of one that is gamma-distributed (beta-prime predictive)."""
    known = Row("growth", "gamma process of known rate: P(within), shape to a level", "scipy", 1e-9, 1e-12)
    process = Row("process", "gamma process, rate learned: predictive, time, rate", "scipy", 1e-9, 1e-12)
    for _ in range(count):
        shape, rate, risk = rng.uniform(0.2, 60.0), rng.uniform(0.05, 20.0), rng.uniform(0.05, 0.95)
        level = shape / rate * rng.uniform(0.3, 2.5)
        to = optimize.brentq(lambda s: special.gammaincc(s, rate * level) - risk, 1e-9, 1e4, xtol=1e-12, rtol=1e-14)
        known.ask([shape, rate, level, risk], [stats.gamma.cdf(level, shape, scale=1 / rate), to])
        per_time, a, b = rng.uniform(0.02, 3.0), rng.uniform(1.5, 60.0), rng.uniform(0.5, 200.0)
        time = rng.uniform(1.0, 400.0)
        level = time * per_time * b / a * rng.uniform(0.3, 2.5)
        x = level / (level + b)
        to = optimize.brentq(lambda s: special.betaincc(s, a, x) - risk, 1e-9, 1e6, xtol=1e-12, rtol=1e-14)
        rates = per_time / stats.gamma.ppf([0.9, 0.1], a, scale=1 / b)
        inside = stats.betaprime.cdf(level, per_time * time, a, scale=b)
        process.ask([per_time, a, b, time, level, risk], [inside, to / per_time, *rates])
    return [known, process]


def poisson(rng, count):
    """Gamma-Poisson: counts are negative binomial."""
    row = Row("poisson", "gamma-Poisson: counts, below a level, time to it, rate", "scipy", 1e-9, 1e-12)
    for _ in range(count):
        a, b, expected = rng.uniform(0.5, 60.0), rng.uniform(0.5, 60.0), rng.uniform(0.1, 60.0)
        spots, level, risk = rng.integers(0, 60), rng.integers(1, 60), rng.uniform(0.05, 0.95)
        counts = stats.nbinom(a, b / (b + expected))
        x = special.betaincinv(level, a, risk)
        answers = [counts.pmf(spots), counts.cdf(level - 1), b * x / (1 - x)]
        row.ask([a, b, expected, spots, level, risk], [*answers, *stats.gamma.ppf([0.1, 0.9], a, scale=1 / b)])
    return [row]


def arrhenius(rng, count):
    row = Row("arrhenius", "Arrhenius acceleration (k = 8.617e-5 eV/K)", "numpy", 1e-12)
    for _ in range(count):
        ev, at, ref = rng.uniform(0.1, 1.2), rng.uniform(243.0, 323.0), rng.uniform(273.0, 300.0)
        row.ask([ev, ref, at], np.exp(ev / 8.617e-5 * (1 / ref - 1 / at)))
    return [row]


def soiling(rng, count):
    """Loose dirt and rain over a random day and a half of hours; Kimber over random weeks of days."""
    hsu = Row("hsu", "HSU: light through loose dirt, rain resets", "pvlib", 1e-9, 1e-12)
    kimber = Row("kimber", "Kimber: loss, rain resets, grace", "pvlib", 1e-9, 1e-12)
    hours = pd.date_range("2031-03-01", periods=36, freq="h")
    days = pd.date_range("2031-03-01", periods=40, freq="D")
    for _ in range(count):
        rain = np.where(rng.random(36) < 0.15, rng.exponential(1.5, 36), 0.0)
        fine = rng.uniform(2e-6, 60e-6, 36)
        coarse = fine + rng.uniform(0.0, 100e-6, 36)
        tilt, reset = rng.uniform(0.0, 85.0), rng.uniform(0.2, 3.0)
        light = pvlib.soiling.hsu(
            pd.Series(rain, hours), reset, tilt, pd.Series(fine, hours), pd.Series(coarse, hours)
        )
        hsu.ask([3600.0, tilt, reset, *np.column_stack([rain, fine, coarse]).ravel()], light.to_numpy())
        rain = np.where(rng.random(40) < 0.12, rng.exponential(8.0, 40), 0.0)
        loss, reset, grace, most = rng.uniform(0.0005, 0.01), rng.uniform(1.0, 8.0), rng.integers(1, 15), rng.uniform(0.02, 0.3)
        losses = pvlib.soiling.kimber(
            pd.Series(rain, days), reset, loss, int(grace), most, rain_accum_period=24
        )
        kimber.ask([loss, reset, grace, most, 1.0, 1.0, *rain], losses.to_numpy())
    return [hsu, kimber]


def asked(part):
    """The questions of one part, always the same for its place and the seed."""
    seed, ask, start, count = part
    warnings.simplefilter("ignore")
    return ask(np.random.default_rng([seed, start, *ask.__name__.encode()]), count)


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1997
    build = ["cargo", "build", "--locked", "--quiet", "-p", "domain", "--example", "upkeep_answers"]
    subprocess.run(build, cwd=ROOT, check=True)
    asks = [weibull, learned, growth, poisson, arrhenius, soiling]
    parts = [(seed, ask, part, min(PART, count - part)) for ask in asks for part in range(0, count, PART)]
    rows = {}
    with multiprocessing.Pool() as pool:
        for row in itertools.chain.from_iterable(pool.imap(asked, parts)):
            whole = rows.setdefault(row.word, row)
            if whole is not row:
                whole.questions += row.questions
                whole.expected += row.expected
    rows = list(rows.values())
    questions = "\n".join(question for row in rows for question in row.questions) + "\n"
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    program = target / "debug" / "examples" / "upkeep_answers"
    run = subprocess.run([program], input=questions, text=True, capture_output=True, check=True)
    answers = iter(run.stdout.splitlines())
    print(
        f"seed {seed}; numpy {np.__version__}, scipy {scipy.__version__}, "
        f"lifelines {lifelines.__version__}, pvlib {pvlib.__version__}"
    )
    print(f"{'':58} {'peer':10} {'inputs':>6} {'values':>8} {'worst':>10} {'allowed':>8}")
    agree = [row.judge([next(answers) for _ in row.questions]) for row in rows]
    sys.exit(0 if all(agree) else 1)


if __name__ == "__main__":
    main()
