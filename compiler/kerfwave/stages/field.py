"""Field: the as-built air solved as a sound field, and the network held against it.

Both are asked the same: what comes out of the mouth for what the driver puts in. They share walls, fibre, volume and
the load of the air outside, so what is left between them is what the network makes of the shape: bends, steps,
throat, and the chamber, which it takes as one spring.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from kerfwave.acoustics import field as fields
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.duct import Complex, Real
from kerfwave.acoustics.network import solve_network
from kerfwave.acoustics.radiation import mouth_impedance
from kerfwave.model.acoustic import Air, Network
from kerfwave.model.parts import Check
from kerfwave.stages.body import Built
from kerfwave.stages.field_space import cell_mm, space_of
from kerfwave.stages.field_storeys import CannotUnfold

FULL_HZ = tuple(float(f) for f in np.linspace(20.0, 710.0, 18))  # solved in full; the rest lies between
RANGE_HZ = (50.0, 500.0)  # where the transfers are compared
POINTS = 41
RESONANCE_OFF = 0.02  # relative; more is a warning
AT_EDGE = 1.05  # of the range's lower end: nearer than that a resonance does not count
TRANSFER_OFF_DB = 1.0
NOTCH_DB = 10.0  # a transfer so far below its own mean over the octave around is in a notch, where decibels run away
PICTURE_STEP_MM = 2.5
DIGITS = 4  # of everything that is kept: far above what two machines' rounding could tell


@dataclass(frozen=True, slots=True)
class Picture:
    """The magnitude of the pressure over the plan at one frequency, r.m.s. at the spec's drive.

    Samples of a grid, row by row from the front, each row from the left; in the wood stands the nearest air's.
    """

    name: str
    frequency_hz: float
    x_mm: float  # of the first sample
    y_mm: float
    step_mm: float
    columns: int
    pressure_pa: tuple[float, ...]
    highest_pa: float  # in the air
    driver_pa: float  # mean over its opening
    mouth_pa: float

    @property
    def title(self) -> str:
        """Such as "Pressure at 70 Hz, where relief starts"."""
        return f"Pressure at {self.frequency_hz:.0f} Hz" + (f", {self.name}" if self.name else "")


@dataclass(frozen=True, slots=True)
class Compared:
    """Field and network side by side. Transfers are the mouth's volume velocity over the driver's."""

    cell_mm: float
    unknowns: int
    full_solutions: int
    frequency_hz: tuple[float, ...]
    field_db: tuple[float, ...]
    field_deg: tuple[float, ...]
    network_db: tuple[float, ...]
    network_deg: tuple[float, ...]
    in_notch: tuple[bool, ...]
    resonance_hz: float | None  # of the field: where the mouth lags the driver by a quarter period
    network_resonance_hz: float | None
    worst_db: float  # field less network, furthest from 0 outside notches
    worst_hz: float
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class Solved:
    """What the stage found; nothing if the spec switches it off or the body has no mouth."""

    compared: Compared | None
    checks: tuple[Check, ...]


def run(
    built: Built,
    wanted: bool,
    relief_from_hz: float,
    volts: float,
    *,
    progress: Callable[[float, str], None],
) -> Solved:
    """Run the stage."""
    network = built.network
    if not wanted or network.mouth is None:
        return Solved(None, ())
    air = air_at()
    try:
        space = space_of(built, air)
    except CannotUnfold as error:
        text = f"the sound field was not solved: {error}; only the network knows this guide"
        return Solved(None, (Check("field-resonance", "ok", text),))
    cell = cell_mm(built.body)
    flat = built.body.fold.key.arrangement.in_one_plane
    progress(0.1, f"cells of {cell:g} mm")
    solved = fields.solve(space, air, FULL_HZ, _load(network, np.array(FULL_HZ), air), cell_m=cell * 1e-3)
    progress(0.8, f"{solved.mesh.size} unknowns")

    fine = np.geomspace(FULL_HZ[0], RANGE_HZ[1], 400)
    resonance, its = (_resonance(fine, t) for t in _transfers(solved, network, fine, air))
    f = np.geomspace(*RANGE_HZ, POINTS)
    mine, theirs = _transfers(solved, network, f, air)
    difference = 20.0 * np.log10(np.abs(mine / theirs))
    notch = _in_notch(f, solved, network, air)
    worst = int(np.argmax(np.where(notch, 0.0, np.round(np.abs(difference), 6))))
    compared = Compared(
        cell_mm=cell,
        unknowns=solved.mesh.size,
        full_solutions=solved.full_solutions,
        frequency_hz=_digits(f),
        field_db=_decimals(20.0 * np.log10(np.abs(mine))),
        field_deg=_decimals(np.degrees(np.angle(mine)), 2),
        network_db=_decimals(20.0 * np.log10(np.abs(theirs))),
        network_deg=_decimals(np.degrees(np.angle(theirs)), 2),
        in_notch=tuple(bool(v) for v in notch),
        resonance_hz=resonance,
        network_resonance_hz=its,
        worst_db=round(float(difference[worst]), 3),
        worst_hz=_digit(float(f[worst])),
        pictures=_pictures(solved, network, air, volts, relief_from_hz, resonance) if flat else (),
    )
    return Solved(compared, _checks(compared, flat))


def _load(network: Network, f: Real, air: Air) -> Complex:
    assert network.mouth is not None
    mouth = network.mouth
    return mouth_impedance(mouth.area_m2, mouth.end, 2.0 * np.pi * f, air, mouth.wall_m)


def _transfers(solved: fields.Field, network: Network, f: Real, air: Air) -> tuple[Complex, Complex]:
    """Return the field's and the network's; neither mouth feels the cone's front, which is no matter of the inside."""
    alone = solve_network(replace(network, spacing_m=0.0), f, air, 1.0)
    theirs = alone.mouth_volume_velocity / -alone.front_volume_velocity
    return solved.transfer(2.0 * np.pi * f, _load(network, f, air)), theirs


def _resonance(f: Real, transfer: Complex) -> float | None:
    """Return where the mouth first lags the driver by a quarter period: the resonance, however much it is damped.

    One at the very edge of the range does not count, as it may lie outside for the other side of the comparison.
    """
    real = transfer.real
    fallen = np.flatnonzero((real[:-1] > 0.0) & (real[1:] <= 0.0) & (f[:-1] > AT_EDGE * f[0]))
    if not len(fallen):
        return None
    i = int(fallen[0])
    return _digit(float(f[i] + (f[i + 1] - f[i]) * real[i] / (real[i] - real[i + 1])))


def _in_notch(f: Real, solved: fields.Field, network: Network, air: Air) -> NDArray[np.bool_]:
    """Return where either transfer lies far below its own mean level over the octave around."""
    octave = f[:, np.newaxis] * 2.0 ** np.linspace(-0.5, 0.5, 13)
    wide = [20.0 * np.log10(np.abs(t)) for t in _transfers(solved, network, octave.ravel(), air)]
    levels = [level.reshape(octave.shape) for level in wide]
    found: NDArray[np.bool_] = np.any([level[:, 6] < level.mean(axis=1) - NOTCH_DB for level in levels], axis=0)
    return found


def _checks(c: Compared, flat: bool) -> tuple[Check, ...]:
    how = "" if flat else "; storeys unfolded into one plane, passages as the network counts them"
    if c.resonance_hz is None or c.network_resonance_hz is None:
        resonance = Check(
            "field-resonance",
            "ok" if c.resonance_hz == c.network_resonance_hz else "warn",
            f"first resonance between {FULL_HZ[0]:g} and {RANGE_HZ[1]:g} Hz: "
            f"{_hz(c.resonance_hz)} in the field, {_hz(c.network_resonance_hz)} in the network",
        )
    else:
        off = c.network_resonance_hz / c.resonance_hz - 1.0
        resonance = Check(
            "field-resonance",
            "ok" if abs(off) <= RESONANCE_OFF else "warn",
            f"the guide's first resonance lies at {_hz(c.resonance_hz)} in the sound field of the as-built air, at "
            f"{_hz(c.network_resonance_hz)} in the network: {100 * off:+.1f} %; {100 * RESONANCE_OFF:g} % allowed{how}",
            round(100 * abs(off), 2),
            100 * RESONANCE_OFF,
        )
    off_db = [abs(a - b) for a, b, notch in zip(c.field_db, c.network_db, c.in_notch, strict=True) if not notch]
    near = sum(db <= TRANSFER_OFF_DB for db in off_db)
    transfer = Check(
        "field-transfer",
        "ok" if abs(c.worst_db) <= TRANSFER_OFF_DB else "warn",
        f"from driver to mouth, {RANGE_HZ[0]:g} to {RANGE_HZ[1]:g} Hz, the sound field lies furthest from the network "
        f"at {c.worst_hz:.0f} Hz, {c.worst_db:+.1f} dB, and within {TRANSFER_OFF_DB:g} dB of it at {near} of "
        f"{len(off_db)} frequencies outside notches; {TRANSFER_OFF_DB:g} dB allowed{how}",
        abs(c.worst_db),
        TRANSFER_OFF_DB,
    )
    return resonance, transfer


def _hz(value: float | None) -> str:
    return "none" if value is None else f"{value:.1f} Hz"


# --- pictures ---------------------------------------------------------------------------------------------------


def _pictures(
    solved: fields.Field, network: Network, air: Air, volts: float, relief_from_hz: float, resonance_hz: float | None
) -> tuple[Picture, ...]:
    wanted = [("where relief starts", relief_from_hz), ("first resonance", resonance_hz), ("", RANGE_HZ[1])]
    found: list[Picture] = []
    for name, hz in wanted:
        known = hz is not None and FULL_HZ[0] <= hz <= FULL_HZ[-1]
        if hz is None or not known or any(abs(math.log(hz / p.frequency_hz)) < 0.03 for p in found):
            continue
        found.append(_picture(solved, network, air, volts, name, hz))
    return tuple(found)


def _picture(solved: fields.Field, network: Network, air: Air, volts: float, name: str, hz: float) -> Picture:
    f = np.array([hz])
    drive = float(np.abs(solve_network(network, f, air, volts).front_volume_velocity[0]))
    load = _load(network, f, air)
    step = PICTURE_STEP_MM * 1e-3
    x0, y0, x1, y1 = solved.space.air.bounds
    xs, ys = np.arange(x0 - step, x1 + 2 * step, step), np.arange(y0 - step, y1 + 2 * step, step)
    x, y = (part.ravel() for part in np.meshgrid(xs, ys))
    inside = shapely.contains_xy(solved.space.air, x, y)
    value = np.full(x.shape, np.nan)
    value[inside] = drive * np.abs(solved.pressure(2.0 * math.pi * hz, load[0], x[inside], y[inside]))
    highest = float(np.nanmax(value))
    grid = value.reshape(len(ys), len(xs))
    from scipy.ndimage import distance_transform_edt

    _, (row, column) = distance_transform_edt(np.isnan(grid), return_indices=True)
    omega = 2.0 * np.pi * f
    amplitudes = solved.amplitudes(omega, load)[0]
    return Picture(
        name=name,
        frequency_hz=hz,
        x_mm=round(1e3 * float(xs[0]), 3),
        y_mm=round(1e3 * float(ys[0]), 3),
        step_mm=PICTURE_STEP_MM,
        columns=len(xs),
        pressure_pa=_digits(grid[row, column].ravel()),
        highest_pa=_digit(highest),
        driver_pa=_digit(drive * float(np.abs(amplitudes @ solved.source))),
        mouth_pa=_digit(drive * float(np.abs(amplitudes @ solved.mouth))),
    )


def _digit(value: float) -> float:
    return float(f"{value:.{DIGITS - 1}e}")


def _digits(values: Real) -> tuple[float, ...]:
    return tuple(_digit(float(v)) for v in values)


def _decimals(values: Real, places: int = 3) -> tuple[float, ...]:
    return tuple(round(float(v), places) + 0.0 for v in values)
