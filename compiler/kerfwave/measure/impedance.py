"""An impedance sweep: what a meter or a sound card with a resistor hands back, checked for being one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.columns import ColumnError, read_columns

LEAST_ROWS = 12
LOWEST_OHM, HIGHEST_OHM = 0.05, 100_000.0
WIDEST_DEGREES = 95.0  # a loudspeaker gives no power back: its phase stays within 90 degrees, but for the meter's error

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class ImpedanceSweep:
    """Magnitude, and phase where the meter has one, against frequency. All tuples are of one length."""

    name: str
    frequency_hz: tuple[float, ...]  # rising
    ohm: tuple[float, ...]
    degrees: tuple[float, ...] | None = None
    notes: tuple[str, ...] = ()

    def band(self, from_hz: float, to_hz: float) -> ImpedanceSweep:
        """Return the rows from one frequency to another, both included."""
        keep = [i for i, hz in enumerate(self.frequency_hz) if from_hz <= hz <= to_hz]
        return ImpedanceSweep(
            self.name,
            tuple(self.frequency_hz[i] for i in keep),
            tuple(self.ohm[i] for i in keep),
            None if self.degrees is None else tuple(self.degrees[i] for i in keep),
            self.notes,
        )

    def values(self) -> Complex:
        """Return the complex impedance in ohm; where there is no phase, the magnitude as a real number."""
        ohm = np.asarray(self.ohm, dtype=float)
        if self.degrees is None:
            return ohm.astype(complex)
        return np.asarray(ohm * np.exp(1j * np.radians(self.degrees)))


def read_impedance(text: str, *, name: str) -> ImpedanceSweep:
    """Return the sweep in `text`: frequency in Hz, ohm, and degrees where there is a third column.

    Raises:
        ColumnError: for columns that cannot be read, too few rows, or values that are no loudspeaker's impedance.
    """
    columns = read_columns(text, name=name, columns=("frequency", "ohm", "degrees"), optional=1)
    frequency, ohm, degrees = (columns.column(title) for title in ("frequency", "ohm", "degrees"))
    assert frequency is not None  # both are required above
    assert ohm is not None
    for line, value in zip(columns.lines, ohm, strict=True):
        if not LOWEST_OHM <= value <= HIGHEST_OHM:
            raise ColumnError(
                name,
                line,
                f"{value:g} ohm is no loudspeaker's impedance",
                f"{LOWEST_OHM:g} to {HIGHEST_OHM:g} ohm in the second column",
            )
    for line, value in zip(columns.lines, degrees or (), strict=False):
        if abs(value) > WIDEST_DEGREES:
            raise ColumnError(
                name,
                line,
                f"a phase of {value:g} degrees, but a loudspeaker's impedance stays within 90 degrees",
                "the phase of the impedance in degrees in the third column, or no third column",
            )
    if len(ohm) < LEAST_ROWS:
        raise ColumnError(
            name, columns.lines[-1], f"{len(ohm)} rows are too few", f"at least {LEAST_ROWS}, better a hundred"
        )
    return ImpedanceSweep(name, frequency, ohm, degrees, columns.notes)
