#!/usr/bin/env python3
"""Runs the search for rounds and its peers in turn on a folder of instances; see `tests/bench/dispatch`.

    python3 tests/bench/vrptw_compare.py PROGRAM FOLDER BEST.csv [--seconds N] [--seeds N] [--part TEXT] [--solvers LIST]
"""

import argparse
import collections
import csv
import math
import pathlib
import re
import statistics
import subprocess
import sys

from scipy.stats import wilcoxon


def distance(arguments, solver, path, name, seed):
    if solver == "ours":
        command = [arguments.program, path.parent, arguments.best, str(arguments.seconds), str(seed), "1", name]
        lines = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
        return next(float(line.split(",")[2]) for line in lines if line.startswith(f"{name},"))
    peers = pathlib.Path(__file__).with_name("vrptw_peers.py")
    command = [sys.executable, peers, solver, path, str(arguments.seconds), str(seed)]
    printed = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return float(printed.splitlines()[-1])


def class_of(name):
    return name.split("_")[0] if "_" in name else re.match(r"[A-Z]+\d", name).group()


def table(gaps, solvers):
    print(f"\n{'class':<6}" + "".join(f"{solver + ' mean':>15}{'worst':>9}" for solver in solvers))
    classes = sorted({class_of(name) for name, _ in gaps[solvers[0]]})
    for group in classes + ["all"]:
        row = f"{group:<6}"
        for solver in solvers:
            values = [gap for (name, _), gap in gaps[solver].items() if group in ("all", class_of(name))]
            row += f"{statistics.fmean(values):>15.3f}{max(values):>9.3f}"
        print(row)


def tests(gaps, solvers):
    for peer in solvers[1:]:
        keys = [key for key in gaps[solvers[0]] if math.isfinite(gaps[peer][key])]
        ours, theirs = ([gaps[solver][key] for key in keys] for solver in (solvers[0], peer))
        better = sum(a < b for a, b in zip(ours, theirs))
        worse = sum(a > b for a, b in zip(ours, theirs))
        chance = wilcoxon(ours, theirs).pvalue if better + worse else 1.0
        print(f"{solvers[0]} against {peer}: better {better}, equal {len(keys) - better - worse}, worse {worse}; p = {chance:.3g}")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("best")
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--part", default="")
    parser.add_argument("--solvers", default="ours,pyvrp,ortools")
    arguments = parser.parse_args()
    solvers = arguments.solvers.split(",")
    with open(arguments.best) as file:
        known = {row[0].upper(): float(row[1]) for row in list(csv.reader(file))[1:]}
    paths = {path.name.split(".")[0].upper(): path for path in sorted(arguments.folder.iterdir())}
    gaps = collections.defaultdict(dict)
    print("instance,seed," + ",".join(solvers))
    for seed in range(1, arguments.seeds + 1):
        for name, path in paths.items():
            if name not in known or arguments.part not in name:
                continue
            for solver in solvers:
                found = distance(arguments, solver, path, name, seed)
                gaps[solver][name, seed] = (found / known[name] - 1) * 100
            print(f"{name},{seed}," + ",".join(f"{gaps[solver][name, seed]:.3f}" for solver in solvers), flush=True)
    if not gaps:
        sys.exit("no instance of the folder is in the list of best-known distances")
    table(gaps, solvers)
    tests(gaps, solvers)


main()
