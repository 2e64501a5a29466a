"""What the guide shows of the listening place, of how loud it goes, and of how far builds differ."""

from __future__ import annotations

from kerfwave.acoustics.limits import low_shelf, stretches
from kerfwave.acoustics.spread import Band, Figure
from kerfwave.acoustics.targets import MOUTH_VELOCITY_M_S
from kerfwave.numfmt import fixed
from kerfwave.stages.sound import Sound
from kerfwave.writers import charts
from kerfwave.writers.guide_model import ChartView, Table
from kerfwave.writers.lines import Area
from kerfwave.writers.words import mm, percent

BASS_HZ = (40, 50, 63, 80, 100, 125, 160, 200)
SPREAD_NAME = "8 in 10"


def where(sound: Sound) -> str:
    """Return drive, distance and space in words."""
    return f"At {sound.drive.volts:g} V and {sound.listening.distance_m:g} m, {sound.listening.space} space."


def spread_area(sound: Sound, what: str) -> Area:
    """Return where eight in ten builds lie; `what` names one of the spread's bands."""
    found = sound.strayed.spread
    band: Band = getattr(found, what)
    return Area(SPREAD_NAME, found.frequency_hz, band.low, band.high, 0)


def listening_charts(sound: Sound) -> tuple[ChartView, ...]:
    """Return the listening place, the greatest level, the bass control and the builds."""
    return (_heard(sound), _greatest(sound), _bass(sound), _builds(sound))


def _heard(sound: Sound) -> ChartView:
    heard, target = sound.at_listener.heard, sound.target
    columns = [(heard.spl_db, 1), (heard.plain_db, 1), (heard.baffle_step_db, 1)]
    nominal = (*charts.NOMINAL_HZ, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000)
    return ChartView(
        "At the listening place",
        charts.listening_chart(
            heard.frequency_hz,
            heard.spl_db,
            heard.plain_db,
            band=(target.band_from_hz, target.band_to_hz),
            condition=where(sound),
        ),
        _heard_words(sound),
        Table(
            "At the listening place",
            ("Hz", "heard, dB", "plain sum, dB", "front's edges, dB"),
            charts.table_rows(heard.frequency_hz, columns, nominal),
        ),
    )


def _heard_words(sound: Sound) -> str:
    heard = sound.at_listener.heard
    said = [f"On the driver's axis, {mm(1e3 * heard.cone_m, 0)} before the front"]
    if heard.mouth_m is not None:
        said.append(f"and {mm(1e3 * heard.mouth_m, 0)} from the mouth")
    places = "true places of cone and mouth" if heard.mouth_m is not None else "the cone's true place"
    first = f"{' '.join(said)}: {places}"
    first += "." if heard.wall_m == 0.0 else ", and the edges of the front."
    if heard.wall_m == 0.0:
        first += " The front is flush with the wall, so it has no edges and no wall behind it."
    elif heard.wall_m is not None:
        dip = (
            f" The wall {mm(1e3 * heard.wall_m, 0)} behind the front takes {-heard.least_db:.0f} dB at "
            f"{heard.least_hz:.0f} Hz; a shallower body or one let into the wall would not have that."
            if heard.least_db < -3.0
            else f" The wall is {mm(1e3 * heard.wall_m, 0)} behind the front."
        )
        first += dip
    elif heard.step_hz is not None:
        first += f" Below about {heard.step_hz:.0f} Hz the sound goes round the body, above it comes forward."
    if heard.laid_over_hz is not None:
        low, high = heard.laid_over_hz
        first += (
            f" From {low:.0f} Hz up the measured response in {sound.driver.response_file} comes in, from {high:.0f} Hz "
            "it counts alone."
        )
    return first


def _greatest(sound: Sound) -> ChartView:
    found = sound.at_listener
    rows = tuple(
        (
            f"{row.frequency_hz:g}",
            fixed(row.level_db, 1),
            fixed(row.volts, 1),
            row.limit,
            fixed(row.closed_db, 1),
            row.closed_limit,
        )
        for row in found.loudest
    )
    svg = charts.greatest_level_chart(
        found.limits.frequency_hz,
        found.limits.level_db,
        tuple((s.from_hz, s.to_hz, s.limit) for s in stretches(found.limits)),
        found.closed_limits.level_db,
        condition=where(sound),
    )
    has_mouth = sound.network.mouth is not None
    mouth = f", mouth {MOUTH_VELOCITY_M_S:g} m/s of air in the mouth (common practice)" if has_mouth else ""
    volts = f", voltage the amplifier's {sound.drive.most_volts:g} V" if sound.drive.most_volts else ""
    text = (
        "How loud steady tones can be before something gives, as a plain sum. The strip at the foot says what it is in "
        f"this body: excursion is the driver's {sound.driver.xmax_mm:g} mm, power its rated {sound.driver.power_w:g} W"
        f"{mouth}{volts}."
    )
    return ChartView(
        "Greatest level", svg, text, Table("Greatest level", ("Hz", "dB", "V", "set by", "closed, dB", "set by"), rows)
    )


def _bass(sound: Sound) -> ChartView:
    bass, target, driver = sound.at_listener.bass, sound.target, sound.driver
    mine, closed = sound.as_built.response, sound.as_built.closed
    lift = low_shelf(mine.frequency_hz, bass.gain_db, bass.corner_hz)
    here, there = (tuple(x * g for x, g in zip(one.excursion_peak_mm, lift, strict=True)) for one in (mine, closed))
    columns = [(here, 2), (there, 2), (mine.excursion_peak_mm, 2), (closed.excursion_peak_mm, 2)]
    return ChartView(
        "Excursion with a bass control",
        charts.bass_control_chart(
            mine.frequency_hz,
            here,
            there,
            limit_mm=driver.xmax_mm,
            relief_band=(target.relief_from_hz, target.relief_to_hz),
            condition=where(sound),
        ),
        f"With a tone control of {bass.gain_db:+g} dB (a shelf at {bass.corner_hz:g} Hz) the cone moves up to "
        f"{bass.here_mm:.2f} mm from {bass.from_hz:g} Hz up, in the closed box {bass.closed_mm:.2f} mm; below, "
        f"{bass.here_below_mm:.2f} and {bass.closed_below_mm:.2f} mm. The driver takes {driver.xmax_mm:g} mm.",
        Table(
            "Excursion with and without a bass control, peak, mm",
            ("Hz", "here with it", "closed with it", "here", "closed"),
            charts.table_rows(mine.frequency_hz, columns, BASS_HZ),
        ),
    )


def _builds(sound: Sound) -> ChartView:
    found, varied = sound.strayed.spread, sound.strayed.tolerances
    low, high = varied.temperature_c
    text = (
        f"{found.draws} builds of this design on paper, of which {percent(found.kept)} keep the whole target. Nineteen "
        f"in twenty within fs ± {varied.fs_percent:g} %, Vas ± {varied.vas_percent:g} %, "
        f"Qes ± {varied.qes_percent:g} %, "
        f"Re ± {varied.re_percent:g} %, sheet ± {2 * varied.sheet_mm:.2f} mm, kerf ± {varied.kerf_mm:g} mm, fibre "
        f"± {varied.fibre_percent:g} %; {low:g} to {high:g} °C. An impedance within the shade is as it should be."
    )
    return ChartView(
        "From build to build",
        charts.build_impedance_chart(
            found.frequency_hz, found.impedance_ohm.middle, spread_area(sound, "impedance_ohm")
        ),
        text,
        Table(
            "From build to build",
            ("Figure", "8 in 10 from", "middle", "to", "keep the target", "hangs most on"),
            tuple(_figure_row(f) for f in found.figures),
        ),
    )


def _figure_row(figure: Figure) -> tuple[str, ...]:
    decimals = {"Hz": 1, "dB": 2, "mm": 2}[figure.unit]
    causes = ", ".join(f"{name} {percent(share)}" for name, share in figure.shares[:3] if share >= 0.05)
    return (
        f"{figure.name}, {figure.unit}",
        *(fixed(v, decimals) for v in (figure.low, figure.middle, figure.high)),
        "" if figure.kept is None else percent(figure.kept),
        causes,
    )
