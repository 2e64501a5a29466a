"""What the reading of a sweep becomes on disk: tables and charts."""

from __future__ import annotations

from kerfwave.measure.nearfield import NearFieldSum
from kerfwave.measure.reading import Reading
from kerfwave.writers.lines import Series
from kerfwave.writers.measured import harmonics_chart, impulse_chart, level_chart, table


def reading_files(found: Reading) -> dict[str, str]:
    """Return what a reading becomes on disk."""
    response, bent = found.response, found.distortion
    snr = response.snr_db or ()
    label = "level, dB re 20 µPa" if response.absolute else "level, dB re the file played"
    noise = tuple(level - clear for level, clear in zip(response.level_db, snr, strict=True))
    titles = ["frequency_hz"]
    columns: list[tuple[float | None, ...]] = [bent.frequency_hz]
    for harmonic in bent.harmonics:
        titles += [f"h{harmonic.order}_percent", f"h{harmonic.order}_noise_percent"]
        columns += [harmonic.percent, harmonic.floor_percent]
    chart = harmonics_chart(
        bent.frequency_hz, [(f"{h.order}{_ORDINALS.get(h.order, 'th')} harm.", h.percent) for h in bent.harmonics]
    )
    files = {
        "response.csv": table(
            ("frequency_hz", "level_db", "phase_deg", "snr_db"),
            (response.frequency_hz, response.level_db, response.phase_deg or (), snr),
            (3, 3, 2, 1),
        ),
        "response.svg": level_chart(
            (
                Series("measured", response.frequency_hz, response.level_db, 0),
                Series("noise", response.frequency_hz, noise, 2),
            ),
            title="Measured response",
            y_label=label,
            desc=f"Measured level over frequency, and the noise in the gate. {found.checks[-1].text}.",
        ),
        "impulse.csv": table(
            ("time_ms", "value"), ([1000.0 * t for t in found.impulse.time_s], found.impulse.value), (5, 9)
        ),
        "impulse.svg": impulse_chart(found.impulse.time_s, found.impulse.value),
        "distortion.csv": table(
            (*titles, "total_percent"), (*columns, bent.total_percent), (3, *(5,) * (len(columns) - 1), 5)
        ),
    }
    if chart is not None:
        files["distortion.svg"] = chart
    return files


_ORDINALS = {2: "nd", 3: "rd"}


def sum_files(summed: NearFieldSum) -> dict[str, str]:
    """Return what the sum of two near fields becomes on disk."""
    f = summed.response.frequency_hz
    return {
        "sum.csv": table(
            ("frequency_hz", "level_db", "phase_deg", "cone_db", "mouth_db"),
            (f, summed.response.level_db, summed.response.phase_deg or (), summed.cone_db, summed.mouth_db),
            (3, 3, 2, 3, 3),
        ),
        "sum.svg": level_chart(
            (
                Series("both", f, summed.response.level_db, 0),
                Series("cone", f, summed.cone_db, 1),
                Series("mouth", f, summed.mouth_db, 2),
            ),
            title="Near fields of cone and mouth, added up",
            y_label="level, dB re 20 µPa" if summed.response.absolute else "level, dB re the cone's near field",
            desc=f"Near fields weighted by the roots of their areas and added with their phases, up to "
            f"{summed.highest_hz:.0f} Hz.",
        ),
    }
