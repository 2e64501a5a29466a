"""How long a recording of a minute takes to read, and how much memory: `python tests/bench/sweep.py`.

The aim is under 3 s and 500 MB for 60 s at 48 kHz. Time is also told as a multiple of one Fourier transform and back of
the same recording in the same run, which depends less on the machine.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time

READ = """
import resource, sys, time
import numpy as np
from kerfwave.measure.reading import read
from kerfwave.measure.sweep import design, samples
sweep = design(seconds=float(sys.argv[1]), tail_s=2.0)
rng = np.random.default_rng(1)
played = samples(sweep)
signal = np.zeros(60 * sweep.rate_hz)
start = len(signal) - len(played)
signal[start:] = 0.5 * played
signal += 1e-4 * rng.standard_normal(len(signal))
del played
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
times = []
for _ in range(3):
    began = time.perf_counter()
    found = read(signal, sweep.rate_hz, sweep)
    times.append(time.perf_counter() - began)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
from scipy import fft
transforms = []
for _ in range(3):
    began = time.perf_counter()
    fft.irfft(fft.rfft(signal))
    transforms.append(time.perf_counter() - began)
print(f"{sweep.seconds:.0f} s sweep in 60 s at 48 kHz: {min(times):.2f} s, {min(times) / min(transforms):.1f} times a "
      f"transform and back ({min(transforms):.2f} s); {peak:.0f} MB at most, {before:.0f} MB of them before")
assert abs(found.start_s - start / sweep.rate_hz - sweep.lead_s) < 1e-4
"""


def main() -> None:
    """Measure a short and a long sweep, each in a process of its own."""
    for seconds in ("10", "57"):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", READ, seconds], check=True)
        print(f"  whole process {time.perf_counter() - began:.1f} s")
    print(f"  largest process {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
