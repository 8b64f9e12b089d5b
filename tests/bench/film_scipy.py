#!/usr/bin/env python3
"""Integrates drying films with scipy and compares with the product's own answers; run by tests/bench/planning.

    cargo run --release -p domain --example film_cases -- 400 | python3 tests/bench/film_scipy.py

The equations are written out here once more, from their sources, so that a slip on one side shows. scipy runs
twice: at rtol 1e-10 to compare the answers, and with its stiff solver LSODA at rtol 1e-6, which is plenty for a
drying time, to compare the times. Fails if a drying time differs by more than 0.01 % or a temperature by 0.001 K.
"""

import json
import math
import statistics
import sys
import time

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

TIME_TOLERANCE = 1e-4
TEMPERATURE_TOLERANCE_K = 1e-3
SIGMA = 5.670374419e-8  # CODATA 2018
EMISSIVITY = 0.9
PANEL_HEAT = 3077.0  # 0.8 mm of steel, 7850 kg/m3, 490 J/kgK
PRESSURE = 101325.0


def saturation_pa(c):
    """Allen et al. 1998, FAO-56 equation 11."""
    return 610.8 * math.exp(17.27 * c / (c + 237.3))


def vapour_density(c):
    return saturation_pa(c) / (461.5 * (c + 273.15))


class Film:
    def __init__(self, case):
        air_k = case["air_c"] + 273.15
        self.air_c = case["air_c"]
        self.absorbed = case["absorptance"] * case["sun_w_m2"]
        # Swinbank 1963 under the open sky.
        self.surroundings_k = 0.0552 * air_k**1.5 if case["open_sky"] else air_k
        # Watmuff et al. 1977, and Chilton & Colburn's analogy with a Lewis number of 0.86.
        self.convection = 2.8 + 3.0 * case["wind_m_s"]
        density = PRESSURE / (287.05 * air_k)
        self.transfer = self.convection / (density * 1006.0 * 0.86 ** (2 / 3))
        self.vapour = case["humidity"] * vapour_density(self.air_c)
        self.mass = case["film_um"] * 1e-3

    def net(self, c):
        radiation = EMISSIVITY * SIGMA * ((c + 273.15) ** 4 - self.surroundings_k**4)
        return self.absorbed - radiation - self.convection * (c - self.air_c)

    def evaporation(self, c):
        return self.transfer * (vapour_density(c) - self.vapour)

    def wet_net(self, c):
        return self.net(c) - self.evaporation(c) * (2.501e6 - 2361.0 * c)

    def dry_c(self):
        return brentq(self.net, -100, 250, xtol=1e-12)

    def wet_c(self):
        return brentq(self.wet_net, -100, 250, xtol=1e-12)

    def slope(self, _, state):
        return [self.wet_net(state[0]) / PANEL_HEAT, -self.evaporation(state[0])]

    def dry_out(self, start_c, longest_s, **options):
        def gone(_, state):
            return state[1]

        gone.terminal = True
        run = solve_ivp(self.slope, (0, longest_s), [start_c, self.mass], events=gone, **options)
        return run.t_events[0][0], run.y_events[0][0][0]


def main():
    worst = {"drying time": (0.0, None), "dry panel, K": (0.0, None), "wet panel, K": (0.0, None), "end, K": (0.0, None)}
    own_us, scipy_us, wet, cases = [], [], 0, 0

    def note(what, off, case):
        if not off <= worst[what][0]:
            worst[what] = (off, case)

    for line in sys.stdin:
        case = json.loads(line)
        answer, times = case["answer"], case["answer"]["times"]
        film = Film(case)
        cases += 1
        dry_c, wet_c = film.dry_c(), film.wet_c()
        note("dry panel, K", abs(dry_c - answer["panel_c"]), case)
        note("wet panel, K", abs(wet_c - answer["wet_c"]), case)
        if times is None:
            # The product says it never dries: then nothing evaporates from the wet panel, or almost nothing.
            wet += 1
            note("drying time", 0.0 if film.evaporation(wet_c) * 1e9 < film.mass else math.inf, case)
            continue
        dry_s, end_c = film.dry_out(dry_c, 2 * times["high_s"] + 10, rtol=1e-10, atol=1e-13)
        note("drying time", abs(times["dry_s"] / dry_s - 1), case)
        note("end, K", abs(times["end_c"] - end_c), case)
        began = time.perf_counter()
        Film(case).dry_out(film.dry_c(), 2 * times["high_s"] + 10, method="LSODA", rtol=1e-6, atol=1e-9)
        scipy_us.append((time.perf_counter() - began) * 1e6)
        own_us.append(case["us"])

    print(f"{cases} films, {wet} of them never dry; largest differences:")
    for what, (off, _) in worst.items():
        print(f"  {what:14} {off:.1e}")
    own, other = statistics.median(own_us), statistics.median(scipy_us)
    print(f"median per film: {own:.2f} us here, {other:.0f} us solve_ivp (LSODA, rtol 1e-6): {other / own:.0f} times")
    limits = {"drying time": TIME_TOLERANCE}
    failed = [what for what, (off, _) in worst.items() if not off <= limits.get(what, TEMPERATURE_TOLERANCE_K)]
    for what in failed:
        print(f"DISAGREES on {what}: {json.dumps(worst[what][1])}")
    sys.exit(1 if failed or cases == 0 else 0)


if __name__ == "__main__":
    main()
