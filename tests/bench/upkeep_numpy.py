#!/usr/bin/env python3
"""The same forecasts of iron removal, vectorised with NumPy and scipy on one thread, beside ours in one run.

Test only, one command from the root of the tree:

    python3 tests/bench/upkeep_numpy.py [count]

It makes its own environment under target/ with the pinned versions below and runs the example `upkeep_batch`, which
forecasts `count` (1,000,000) vehicles and writes what went in and came out. Then it computes from what went in the dose,
the belief after each bag test, and the days on which the limit is crossed with 10 %, 50 % and 90 %, and prints both
times, their ratio, and how the days agree. Ours makes whole forecasts (washes, rates, visits, words); this script only
the three days. It ends with 1 when more than one day in ten thousand is off by more than a day.
"""

import csv
import os
import subprocess
import sys
import time

import environment
from environment import ROOT

for threads in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"]:
    os.environ[threads] = "1"
# Vehicles at a time: whole columns of a million would not fit the processor's caches.
PART = 50_000

environment.enter("upkeep-numpy", ["numpy==2.4.4", "scipy==1.17.1"])

import numpy as np  # noqa: E402
from scipy import special  # noqa: E402


def handbook():
    """The numbers that the forecast rests on, from the handbook's own tables."""
    folder = ROOT / "domain" / "handbook"
    with open(folder / "factors.csv", newline="") as file:
        factors = {row["id"]: float(row["value"]) for row in csv.DictReader(file)}
    with open(folder / "exposures.csv", newline="") as file:
        doses = {row["id"]: float(row["dose_per_day"]) for row in csv.DictReader(file)}
    return factors, doses


def after_at_most(a, b, s, bound):
    """Belief Ga(a, b) after no more than `bound` grew with shape s: mean and variance of the exact posterior."""
    x = bound / (bound + b)
    once, twice, none = (special.betainc(s, a + n, x) for n in (1, 2, 0))
    mean = a / b * once / none
    variance = a * (a + 1) / b**2 * twice / none - mean**2
    shape = np.maximum(mean**2 / variance, a)
    new = (shape, shape / mean)
    keep = (s <= 0) | (bound <= 0) | (variance <= 0)
    return np.where(keep, a, new[0]), np.where(keep, b, new[1])


def time_to(a, b, per_time, level, risk):
    """The time at which more than `level` has grown with this probability: halving, as betainc falls with its shape."""
    x = level / (level + b)
    low, high = np.zeros_like(a), 20.0 * (a + 10.0) * np.maximum(level / b, 0.1)
    for _ in range(48):
        middle = 0.5 * (low + high)
        below = special.betainc(np.maximum(middle, 1e-300), a, x) > 1.0 - risk
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(level > 0, 0.5 * (low + high) / per_time, 0.0)


def forecast(columns, factors, doses):
    """Days from today to the crossing with 10 %, 50 % and 90 %."""
    limit, shape = factors["dose_due"], factors["fallout_shape"]
    per_time = shape / limit
    per_day = np.array([doses[kind] for kind in columns["kind"]]) * columns["share"]
    grades = np.array([factors[f"bag_dose_{grade}"] for grade in range(4)] + [factors["dose_overdue"]])
    a, b = np.full(len(per_day), shape), np.full(len(per_day), limit)
    since, start = -columns["removed_d"], np.zeros(len(per_day))
    for n in (1, 2):
        days, grade = columns[f"test_{n}_d"], columns[f"grade_{n}"].astype(int)
        there = days >= 0
        grade = np.clip(grade, 0, 4)
        amount, grown = grades[grade], grades[grade] - start
        light = grade <= 1
        bound = np.where(light, (grades[1] + grades[2]) / 2, (amount + grades[np.minimum(grade + 1, 4)]) / 2)
        spent = per_day * (-days - since)
        read = (a + per_time * spent, b + grown)
        censored = light | (grown <= 0)
        at_most = after_at_most(a, b, per_time * spent, bound - (amount - grown))
        moved = there & (spent > 0)
        a = np.where(moved, np.where(censored, at_most[0], read[0]), a)
        b = np.where(moved, np.where(censored, at_most[1], read[1]), b)
        since, start = np.where(there, -days, since), np.where(there, amount, start)
    level = limit - start
    # With nothing read the belief is the handbook's, whose three times are the same for all: as ours, found once.
    asked = (a != shape) | (level != limit)
    target = factors["risk_target_decontamination"]
    days = []
    for risk in (0.1, target, 0.9):
        times = np.full(len(a), time_to(np.array([shape]), np.array([limit]), per_time, np.array([limit]), risk)[0])
        times[asked] = time_to(a[asked], b[asked], per_time, level[asked], risk)
        days.append(since + np.ceil(times / per_day - 1e-9))
    return np.stack(days)


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    file = ROOT / "target" / "upkeep_fleet.csv"
    command = ["cargo", "run", "--release", "--locked", "--quiet", "-p", "domain", "--example", "upkeep_batch", "--"]
    told = subprocess.run([*command, str(count), str(file)], check=True, cwd=ROOT, capture_output=True, text=True)
    ours_s = float(told.stdout.split()[3])
    with open(file, newline="") as lines:
        rows = list(csv.reader(lines))
    names, rows = rows[0], rows[1:]
    columns = {
        name: np.array([row[i] for row in rows], dtype=str if name == "kind" else float) for i, name in enumerate(names)
    }
    factors, doses = handbook()
    begun = time.perf_counter()
    parts = []
    for first in range(0, count, PART):
        part = {name: column[first : first + PART] for name, column in columns.items()}
        parts.append(forecast(part, factors, doses))
    peer_s = time.perf_counter() - begun
    days = np.concatenate(parts, axis=1)
    ours = np.stack([columns[name] for name in ("early_d", "due_d", "late_d")])
    # Ours shows no day beyond twenty years.
    off = np.where(ours > 99_000, 0, np.abs(days - ours))
    share = float((off > 1).mean())
    print(f"vehicles {count}")
    print(f"ours: whole forecasts      {ours_s:8.2f} s   {count / ours_s:12,.0f} vehicles/s")
    print(f"NumPy and scipy: the days  {peer_s:8.2f} s   {count / peer_s:12,.0f} vehicles/s")
    print(f"ratio NumPy / ours         {peer_s / ours_s:8.2f}")
    print(f"days that differ by more than one: {share:.2e} of {off.size}; largest difference {off.max():.0f} d")
    sys.exit(share > 1e-4)


if __name__ == "__main__":
    main()
