"""Driver fits and as-built fits by hand: how often the stated uncertainty covers, and how long they take.

Times are told as a ratio to a reference of the same run: one complex evaluation of the driver's formula for a driver
fit, one solution of the network for an as-built fit.

    python tests/bench/fit.py [DRIVERS]
"""

from __future__ import annotations

import math
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "measure"))
from test_fit import AIR, HZ, derived, random_driver, sweep, with_mass
from test_promise import HZ as BODY_HZ
from test_promise import measured, report_of

from kerfwave.measure.fit import Given, fit
from kerfwave.measure.impedance_model import driver_impedance
from kerfwave.measure.promise_fit import explain
from kerfwave.measure.promise_model import AsBuilt, play, promised_of


def timed(job, times):
    """Return the mean time of a job in seconds."""
    begin = time.perf_counter()
    for _ in range(times):
        job()
    return (time.perf_counter() - begin) / times


def coverage(drivers, phase, rng):
    """Print how many of the true values lie within two standard uncertainties, parameter by parameter."""
    inside: Counter[str] = Counter()
    begin = time.perf_counter()
    for _ in range(drivers):
        driver, coil, mms, area, ratio = random_driver(rng)
        free = sweep(driver_impedance(HZ, **driver, **coil), rng=rng, noise=0.005, phase=phase)
        heavy = sweep(driver_impedance(HZ, **with_mass(driver, ratio), **coil), rng=rng, noise=0.005, phase=phase)
        found = fit(free, Given(sd_m2=area, added_mass_kg=ratio * mms, uncertainty=0.0), AIR, with_mass=heavy)
        for name, value in (driver | coil | derived(driver, mms, area)).items():
            estimate = getattr(found, name)
            inside[name] += estimate is not None and estimate.covers(value)
    spent = (time.perf_counter() - begin) / drivers
    reference = timed(lambda: driver_impedance(HZ, **driver, **coil), 200)
    print(
        f"{'magnitude and phase' if phase else 'magnitude only'}: {drivers} drivers, two sweeps of {len(HZ)} rows each"
    )
    print("  " + ", ".join(f"{name} {100 * count / drivers:.1f} %" for name, count in inside.items()))
    total = sum(inside.values()) / (drivers * len(inside))
    print(
        f"  all {100 * total:.2f} %; one fit {1e3 * spent:.0f} ms, {spent / reference:.0f} evaluations of the formula"
    )


def main():
    """Run both."""
    drivers = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    rng = np.random.default_rng(1)
    for phase in (True, False):
        coverage(drivers, phase, rng)
    promised = promised_of(report_of())
    made = AsBuilt(chamber=1.05, length=0.97, leak=0.08)
    inside, count = 0, 0
    for seed in range(max(drivers // 10, 10)):
        found = explain(promised, measured(made, noise=0.003, seed=seed), 60.0)
        for key, standard in zip(found.keys, found.standard, strict=True):
            value, truth = getattr(found.made, key), getattr(made, key)
            apart = value - truth if key == "leak" else math.log(value / truth)
            inside += abs(apart) <= 2.0 * standard
            count += 1
    swept = measured(made, noise=0.003)
    reference = timed(lambda: play(promised, made, BODY_HZ, 60.0), 20)
    spent = timed(lambda: explain(promised, swept, 60.0), 3)
    print(f"as built: {100 * inside / count:.1f} % of {count} quantities covered; one fit {1e3 * spent:.0f} ms,")
    print(f"  {spent / reference:.0f} solutions of the network of {len(BODY_HZ)} frequencies")


if __name__ == "__main__":
    main()
