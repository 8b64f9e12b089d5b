#!/usr/bin/env python3
"""Runs PyVRP and OR-Tools on public instances of vehicle routing with time windows, as `examples/vrptw.rs` does.

Test only; `tests/bench/dispatch` starts it in its own environment.

    python3 tests/bench/vrptw_peers.py SOLVER INSTANCE_FILE PROCESSOR_SECONDS SEED

SOLVER is pyvrp or ortools. Prints the distance in units of the instance, or nan. Distances are truncated to one decimal
(DIMACS convention); budgets are processor seconds, so that a busy machine favours nobody.
"""

import math
import pathlib
import sys
import time


def read(path):
    """Vehicles, capacity, and a row (x, y, demand, ready, due, service) for the depot and every customer."""
    text = pathlib.Path(path).read_text()
    return keyed(text) if "NODE_COORD_SECTION" in text else solomon(text)


def solomon(text):
    rows, vehicles, capacity = [], 0, 0
    for line in text.splitlines():
        try:
            numbers = [float(word) for word in line.split()]
        except ValueError:
            continue
        if len(numbers) == 2:
            vehicles, capacity = int(numbers[0]), int(numbers[1])
        elif len(numbers) == 7:
            rows.append(tuple(numbers[1:]))
    return vehicles, capacity, rows


def keyed(text):
    def value(key):
        return float(next(line for line in text.splitlines() if line.startswith(key)).split(":")[1])

    def section(key):
        rows = []
        for line in text.split(key, 1)[1].splitlines()[1:]:
            try:
                numbers = [float(word) for word in line.split()]
            except ValueError:
                break
            if len(numbers) < 2:
                break
            rows.append(numbers)
        return rows

    service = value("SERVICE_TIME")
    rows = []
    triples = zip(section("NODE_COORD_SECTION"), section("DEMAND_SECTION"), section("TIME_WINDOW_SECTION"))
    for place, demand, window in triples:
        rows.append((place[1], place[2], demand[1], window[1], window[2], service if rows else 0.0))
    return 50, int(value("CAPACITY")), rows


def tenths(value):
    return int(value * 10)


def distances(rows):
    return [[tenths(math.hypot(a[0] - b[0], a[1] - b[1])) for b in rows] for a in rows]


def pyvrp(path, seconds, seed):
    from pyvrp import read as read_featured, solve

    # Refills and skills: its own reader knows them.
    featured = "VEHICLES_" in pathlib.Path(path).read_text()
    data = read_featured(path, round_func="dimacs") if featured else windows_only(*read(path))

    class Processor:
        def __init__(self):
            self.began = time.process_time()

        def __call__(self, *_):
            return time.process_time() - self.began > seconds

    result = solve(data, stop=Processor(), seed=seed, collect_stats=False, display=False)
    return result.cost() / 10 if result.is_feasible() else math.nan


def windows_only(vehicles, capacity, rows):
    import numpy
    from pyvrp import Client, Depot, Location, ProblemData, VehicleType

    matrix = numpy.array(distances(rows))
    clients = [
        Client(nth, delivery=[int(row[2])], service_duration=tenths(row[5]), tw_early=tenths(row[3]), tw_late=tenths(row[4]))
        for nth, row in enumerate(rows[1:], 1)
    ]
    fleet = VehicleType(vehicles, capacity=[capacity], tw_early=0, tw_late=tenths(rows[0][4]))
    places = [Location(row[0], row[1]) for row in rows]
    return ProblemData(places, clients, [Depot(0)], [fleet], [matrix], [matrix])


def ortools(path, seconds, _seed):
    vehicles, capacity, rows = read(path)
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    matrix = distances(rows)
    manager = pywrapcp.RoutingIndexManager(len(rows), vehicles, 0)
    routing = pywrapcp.RoutingModel(manager)
    node = manager.IndexToNode
    travel = routing.RegisterTransitCallback(lambda a, b: matrix[node(a)][node(b)])
    routing.SetArcCostEvaluatorOfAllVehicles(travel)
    duration = routing.RegisterTransitCallback(lambda a, b: matrix[node(a)][node(b)] + tenths(rows[node(a)][5]))
    horizon = tenths(rows[0][4])
    routing.AddDimension(duration, horizon, horizon, False, "time")
    demand = routing.RegisterUnaryTransitCallback(lambda a: int(rows[node(a)][2]))
    routing.AddDimensionWithVehicleCapacity(demand, 0, [capacity] * vehicles, True, "load")
    clock = routing.GetDimensionOrDie("time")
    for nth, row in enumerate(rows[1:], 1):
        clock.CumulVar(manager.NodeToIndex(nth)).SetRange(tenths(row[3]), tenths(row[4]))
    parameters = pywrapcp.DefaultRoutingSearchParameters()
    parameters.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    parameters.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    # Its own limit knows only the clock on the wall.
    ends = time.process_time() + seconds
    routing.AddSearchMonitor(routing.solver().CustomLimit(lambda: time.process_time() > ends))
    found = routing.SolveWithParameters(parameters)
    return found.ObjectiveValue() / 10 if found else math.nan


def main():
    solver, path, seconds, seed = sys.argv[1:]
    solve = {"pyvrp": pyvrp, "ortools": ortools}[solver]
    print(f"{solve(path, float(seconds), int(seed)):.1f}")


main()
