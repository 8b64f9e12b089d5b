#!/usr/bin/env python3
"""Solves exported crew problems with OR-Tools CP-SAT and compares with the scheduler's own answers.

Test only. Needs Python 3 and `pip install ortools` (Apache-2.0).

    cargo run --release -p domain --example crew_jobs -- 20 1000 100000 FOLDER
    python3 tests/bench/crew_cpsat.py FOLDER [seconds per problem] [workers]

Per size it prints how often both proofs agree, who found the shorter schedule and the times side by side.
It fails if a proved makespan or a bound of one contradicts the other.
"""

import json
import math
import pathlib
import re
import statistics
import sys
import time

from ortools.sat.python import cp_model


def closure(problem):
    """after[i]: activities that lags put after i."""
    count = len(problem["activities"])
    after = [set() for _ in range(count)]
    for _ in range(count):
        for lag in problem["lags"]:
            after[lag["before"]] |= {lag["after"]} | after[lag["after"]]
    return after


def build(problem):
    model = cp_model.CpModel()
    activities, lags = problem["activities"], problem["lags"]
    times = [crew["duration_s"] for a in activities for crew in a["crews"]]
    times += [lag["min_s"] for lag in lags] + [lag["max_s"] or 0 for lag in lags] + [a["not_before_s"] for a in activities]
    unit = math.gcd(*times) or 1
    horizon = sum(max(c["duration_s"] for c in a["crews"]) + a["not_before_s"] for a in activities)
    horizon = (horizon + sum(lag["min_s"] for lag in lags)) // unit
    starts, ends, intervals, hands = [], [], [], []
    by_technician = [[] for _ in range(problem["technicians"])]
    for index, activity in enumerate(activities):
        start = model.new_int_var(activity["not_before_s"] // unit, horizon, f"s{index}")
        end = model.new_int_var(0, horizon, f"e{index}")
        modes = [model.new_bool_var(f"m{index}_{k}") for k in range(len(activity["crews"]))]
        model.add_exactly_one(modes)
        durations = [crew["duration_s"] // unit for crew in activity["crews"]]
        length = model.new_int_var(min(durations), max(durations), f"l{index}")
        model.add(length == sum(m * d for m, d in zip(modes, durations)))
        interval = model.new_interval_var(start, length, end, f"i{index}")
        starts.append(start), ends.append(end), intervals.append(interval)
        needed = model.new_int_var(0, problem["technicians"], f"h{index}")
        model.add(needed == sum(m * crew["hands"] for m, crew in zip(modes, activity["crews"])))
        hands.append(needed)
        chosen, leads = [], []
        if any(crew["hands"] for crew in activity["crews"]):
            for technician in sorted(set(activity["able"]) | set(activity["helpers"])):
                on = model.new_bool_var(f"t{index}_{technician}")
                by_technician[technician].append(model.new_optional_interval_var(start, length, end, on, ""))
                chosen.append(on)
                if technician in activity["able"]:
                    leads.append(on)
            model.add(sum(chosen) == hands[-1])
            alone = [m for m, crew in zip(modes, activity["crews"]) if crew["hands"] > 0]
            model.add(sum(leads) >= sum(alone))
    for technician in by_technician:
        model.add_no_overlap(technician)
    dwells = [add_lag(model, starts, ends, lag, unit, horizon, n) for n, lag in enumerate(lags)]
    for one, other in problem["exclusions"]:
        model.add_no_overlap([intervals[one], intervals[other]])
    after = closure(problem)
    for lag, dwell in zip(lags, dwells):
        if lag["wet"]:
            pairs = problem["exclusions"]
            kept_out = {b for a, b in pairs if a == lag["before"]} | {a for a, b in pairs if b == lag["before"]}
            between = {k for k in after[lag["before"]] if lag["after"] in after[k]}
            for other in kept_out - between - {lag["after"], lag["before"]}:
                model.add_no_overlap([dwell, intervals[other]])
        if lag["watched"]:
            away = [k for k, a in enumerate(activities) if a["out_of_sight"]]
            demands = [hands[k] for k in away] + [1]
            model.add_cumulative([intervals[k] for k in away] + [dwell], demands, problem["technicians"])
    for resource, capacity in enumerate(problem["capacities"]):
        units = [sum(d["units"] for d in a["demands"] if d["resource"] == resource) for a in activities]
        users = [k for k, needed in enumerate(units) if needed]
        model.add_cumulative([intervals[k] for k in users], [units[k] for k in users], capacity)
    makespan = model.new_int_var(0, horizon, "makespan")
    model.add_max_equality(makespan, ends)
    model.minimize(makespan)
    return model, unit


def add_lag(model, starts, ends, lag, unit, horizon, number):
    start, end = starts[lag["after"]], ends[lag["before"]]
    model.add(start >= end + lag["min_s"] // unit)
    if lag["max_s"] is not None:
        model.add(start <= end + lag["max_s"] // unit)
    if lag["watched"] or lag["wet"]:
        return model.new_interval_var(end, model.new_int_var(0, horizon, f"w{number}"), start, f"d{number}")
    return None


def solve(problem, seconds, workers):
    model, unit = build(problem)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = 1
    began = time.perf_counter()
    status = solver.solve(model)
    took = (time.perf_counter() - began) * 1000
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, unit * math.ceil(solver.best_objective_bound), status == cp_model.INFEASIBLE, took
    bound = unit * math.ceil(solver.best_objective_bound - 1e-6)
    return unit * round(solver.objective_value), bound, status == cp_model.OPTIMAL, took


def main():
    folder = pathlib.Path(sys.argv[1])
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
    workers = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    sizes = {}
    for path in sorted(folder.glob("*.json")):
        sizes.setdefault(re.sub(r"-\d+$", "", path.stem), []).append(path)
    contradictions = 0
    print("size     n  proved own/cpsat  shorter own/cpsat  mean makespan own/cpsat  p50 ms own/cpsat  p90 ms own/cpsat")
    for size, paths in sorted(sizes.items()):
        proved, shorter, ratios, own_ms, cp_ms = [0, 0], [0, 0], [], [], []
        for path in paths:
            record = json.loads(path.read_text())
            own = record["schedule"]
            makespan, bound, optimal, took = solve(record["problem"], seconds, workers)
            own_ms.append(record["ms"]), cp_ms.append(took)
            proved[0] += own["proof"] == "optimal"
            proved[1] += optimal
            if optimal and makespan is None:
                print(f"{path.name}: CP-SAT finds no schedule, own {own['makespan_s']} s")
                contradictions += 1
                continue
            if bound > own["makespan_s"] or (makespan is not None and makespan < own["lower_bound_s"]):
                print(f"{path.name}: own {own['lower_bound_s']}..{own['makespan_s']}, CP-SAT {bound}..{makespan}")
                contradictions += 1
            if makespan is not None:
                shorter[0] += own["makespan_s"] < makespan
                shorter[1] += makespan < own["makespan_s"]
                ratios.append(own["makespan_s"] / makespan)
        p90 = lambda values: sorted(values)[int(0.9 * (len(values) - 1))]
        print(
            f"{size:7} {len(paths):3}  {proved[0]:6}/{proved[1]:<9} {shorter[0]:8}/{shorter[1]:<9} "
            f"{statistics.mean(ratios) if ratios else math.nan:16.4f} {statistics.median(own_ms):16.1f}/{statistics.median(cp_ms):<8.0f}"
            f" {p90(own_ms):8.1f}/{p90(cp_ms):<8.0f}"
        )
    print("no contradictions" if contradictions == 0 else f"{contradictions} contradictions")
    sys.exit(1 if contradictions else 0)


if __name__ == "__main__":
    main()
