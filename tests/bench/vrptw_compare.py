#!/usr/bin/env python3
"""Runs the search for rounds and its peers in turn on a folder of instances; see `tests/bench/dispatch`.

    python3 tests/bench/vrptw_compare.py PROGRAM FOLDER [BEST.csv] [--seconds N] [--seeds N] [--part TEXT] [--solvers LIST]
"""

import argparse
import collections
import csv
import math
import pathlib
import re
import resource
import signal
import statistics
import subprocess
import sys
import tempfile

from scipy.stats import wilcoxon

# What takes no seed finds the same each time: it runs once, and its answer stands beside every seed.
SEEDLESS = {"ortools"}
# How many budgets a peer may take until it is ended.
PATIENCE = 3


def distance(arguments, solver, path, name, seed):
    if solver == "ours":
        command = [arguments.program, path.parent, arguments.best, str(arguments.seconds), str(seed), "1", name]
        lines = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
        return next(float(line.split(",")[2]) for line in lines if line.startswith(f"{name},"))
    peers = pathlib.Path(__file__).with_name("vrptw_peers.py")
    command = [sys.executable, str(peers), solver, str(path), str(arguments.seconds), str(seed)]
    ran = subprocess.run(command, capture_output=True, text=True, preexec_fn=lambda: limited(arguments.seconds))
    if ran.returncode == -signal.SIGXCPU:
        return math.nan
    ran.check_returncode()
    return float(ran.stdout.splitlines()[-1])


def limited(seconds):
    """Ends a peer that asks its clock too seldom: by then it has had several times the budget, and has not answered."""
    most = math.ceil(PATIENCE * seconds + 10)
    resource.setrlimit(resource.RLIMIT_CPU, (most, most + 5))


def class_of(name):
    return name.split("_")[0] if "_" in name else re.match(r"[A-Z]+\d", name).group()


def eased(folder, into):
    """Instances with refills or skills without release times and longest durations, which rounds here do not know.

    The best known distances are then not theirs: gaps are to the best of the run.
    """
    for path in folder.glob("*.vrp"):
        text = re.sub(r"RELEASE_TIME_SECTION\n(?:\d.*\n)*", "", path.read_text())
        (into / path.name).write_text(re.sub(r"VEHICLES_MAX_DURATION.*\n", "", text))
    names = sorted(path.stem.upper() for path in into.glob("*.vrp"))
    (into / "best.csv").write_text("".join(f"{line}\n" for line in ["instance,distance", *(f"{name},1" for name in names)]))
    return into, into / "best.csv"


def best_of(found):
    best = {}
    for lengths in found.values():
        for (name, _), length in lengths.items():
            best[name] = min(best.get(name, math.inf), length if math.isfinite(length) else math.inf)
    return best


def table(gaps, solvers):
    print(f"\n{'class':<6}" + "".join(f"{solver + ' mean':>15}{'worst':>9}" for solver in solvers))
    classes = sorted({class_of(name) for name, _ in gaps[solvers[0]]})
    for group in classes + ["all"]:
        row = f"{group:<6}"
        for solver in solvers:
            values = [gap for (name, _), gap in gaps[solver].items() if group in ("all", class_of(name))]
            values = [gap for gap in values if math.isfinite(gap)] or [math.nan]
            row += f"{statistics.fmean(values):>15.3f}{max(values):>9.3f}"
        print(row)


def tests(gaps, solvers):
    for peer in solvers[1:]:
        keys = [key for key in gaps[solvers[0]] if math.isfinite(gaps[peer][key])]
        ours, theirs = ([gaps[solver][key] for key in keys] for solver in (solvers[0], peer))
        if missing := len(gaps[solvers[0]]) - len(keys):
            print(f"{peer} did not answer {missing} times; these count for nobody below")
        better = sum(a < b for a, b in zip(ours, theirs))
        worse = sum(a > b for a, b in zip(ours, theirs))
        chance = wilcoxon(ours, theirs).pvalue if better + worse else 1.0
        print(f"{solvers[0]} against {peer}: better {better}, equal {len(keys) - better - worse}, worse {worse}; p = {chance:.3g}")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("best", nargs="?")
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--part", default="")
    parser.add_argument("--solvers")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as room:
        is_eased = arguments.best is None
        if is_eased:
            arguments.folder, arguments.best = eased(arguments.folder, pathlib.Path(room))
        solvers = (arguments.solvers or ("ours,pyvrp" if is_eased else "ours,pyvrp,ortools")).split(",")
        compare(arguments, solvers, is_eased)


def compare(arguments, solvers, is_eased):
    with open(arguments.best) as file:
        known = {row[0].upper(): float(row[1]) for row in list(csv.reader(file))[1:]}
    files = sorted(arguments.folder.iterdir())
    paths = {(path.stem if is_eased else path.name.split(".")[0]).upper(): path for path in files}
    found = collections.defaultdict(dict)
    print("distances: instance,seed," + ",".join(solvers))
    for seed in range(1, arguments.seeds + 1):
        for name, path in paths.items():
            if name not in known or arguments.part not in name:
                continue
            for solver in solvers:
                known_already = found[solver].get((name, 1)) if solver in SEEDLESS else None
                found[solver][name, seed] = known_already or distance(arguments, solver, path, name, seed)
            print(f"{name},{seed}," + ",".join(f"{found[solver][name, seed]:.1f}" for solver in solvers), flush=True)
    if not found:
        sys.exit("no instance of the folder is in the list of best-known distances")
    if is_eased:
        known = best_of(found)
    gaps = {
        solver: {(name, seed): (length / known[name] - 1) * 100 for (name, seed), length in lengths.items()}
        for solver, lengths in found.items()
    }
    table(gaps, solvers)
    tests(gaps, solvers)


main()
