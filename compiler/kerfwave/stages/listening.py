"""Listening: what arrives at the listener, how loud it goes before something gives, what a bass control would cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from kerfwave.acoustics import limits as limiting
from kerfwave.acoustics import listening as hearing
from kerfwave.acoustics import targets
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.limits import BassControl, Limits
from kerfwave.acoustics.listening import Scene, Source, Vector
from kerfwave.acoustics.network import REFERENCE_PA, response, solve_network
from kerfwave.body import shapes
from kerfwave.body.air import Body
from kerfwave.model.acoustic import Air, Network, Response
from kerfwave.model.parts import Check
from kerfwave.model.spec import Drive, Driver, DriverCurve, Listening, Target

PER_OCTAVE = 36
HIGHEST_HZ = 20000.0
ASKED_HZ = (50.0, 63.0, 80.0, 100.0, 200.0)  # where people ask how loud it goes
BASS_GAIN_DB, BASS_CORNER_HZ = 6.0, 100.0
DEEP_DB = 6.0  # a dip against the plain sum that is worth a word


@dataclass(frozen=True, slots=True)
class Heard:
    """What arrives at the listening place. The tuples are as long as `frequency_hz`."""

    frequency_hz: tuple[float, ...]
    spl_db: tuple[float, ...]  # with distances, directions, edges and wall
    plain_db: tuple[float, ...]  # cone and mouth at one place, nothing of the body: what `response` has
    baffle_step_db: tuple[float, ...]  # the edges' part for the cone, against a front without end
    step_hz: float | None  # where that passes -3 dB; None: above the range
    cone_m: float  # to the listener
    mouth_m: float | None
    wall_m: float | None  # from the front back to the wall; None: free standing; 0: let into it, flush
    ripple_db: float  # highest minus lowest in the target's band
    least_db: float  # of `spl_db` less `plain_db` in the band ...
    least_hz: float  # ... and where
    laid_over_hz: tuple[float, float] | None  # the octave in which a measured cone takes over


@dataclass(frozen=True, slots=True)
class Loudest:
    """The greatest level at one frequency, here and in the closed box, at the listening distance."""

    frequency_hz: float
    level_db: float
    volts: float
    limit: str
    closed_db: float
    closed_limit: str


@dataclass(frozen=True, slots=True)
class AtTheListener:
    """All that this stage finds."""

    heard: Heard
    limits: Limits
    closed_limits: Limits
    loudest: tuple[Loudest, ...]
    bass: BassControl
    checks: tuple[Check, ...]


def run(
    body: Body,
    network: Network,
    mine: Response,
    closed_network: Network,
    closed: Response,
    driver: Driver,
    target: Target,
    drive: Drive,
    listening: Listening,
    curve: DriverCurve | None,
) -> AtTheListener:
    """Run the stage."""
    air = air_at()
    scene = scene_of(body, network, listening)
    heard = _heard(scene, network, target, drive.volts, listening, curve, air)
    found, closed_found = (_limits(one, driver, drive) for one in (mine, closed))
    at = [
        _limits(response(n, ASKED_HZ, air, drive.volts, listening.distance_m, listening.space), driver, drive)
        for n in (network, closed_network)
    ]
    loudest = tuple(
        Loudest(*row)
        for row in zip(ASKED_HZ, at[0].level_db, at[0].volts, at[0].binding, at[1].level_db, at[1].binding, strict=True)
    )
    bass = limiting.bass_control(
        mine.frequency_hz,
        mine.excursion_peak_mm,
        closed.excursion_peak_mm,
        target.relief_from_hz,
        BASS_GAIN_DB,
        BASS_CORNER_HZ,
    )
    checks = (_heard_check(heard, target), *_mouth_check(scene), bass_check(bass, driver.xmax_mm, drive.volts))
    return AtTheListener(heard, found, closed_found, loudest, bass, checks)


def scene_of(body: Body, network: Network, listening: Listening) -> Scene:
    """Return the body seen from its front: u to the right, v up, w towards the listener, the driver at the origin."""
    by_kind = {o.kind: o for o in body.openings}
    here = by_kind["driver"].centre_mm
    upright = body.rules.stack == "upright"

    def turned(x: float, y: float, z: float) -> Vector:
        return (x, z, -y) if upright else (x, y, -z)

    def place(centre: Vector) -> Vector:
        return turned(*((a - b) * 1e-3 for a, b in zip(centre, here, strict=True)))

    height = body.counts.height_mm
    if upright:
        (x0, _), (x1, _) = shapes.face_line(body.plan, "front")
        rim = [(x0, 0.0), (x1, 0.0), (x1, height), (x0, height)]
        depth, middle = max(y for _, y in body.plan.outline), (here[0], here[2])
    else:
        rim = list(orient(Polygon(body.skin).convex_hull).exterior.coords)[:-1]
        depth, middle = height, (here[0], here[1])
    mouth = by_kind.get("mouth") if network.mouth is not None else None
    return Scene(
        cone=Source((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), network.driver.sd_m2),
        mouth=None if mouth is None else Source(place(mouth.centre_mm), turned(*mouth.normal), mouth.area_mm2 * 1e-6),
        front=tuple(((x - middle[0]) * 1e-3, (y - middle[1]) * 1e-3) for x, y in rim),
        listener_m=(0.0, 0.0, listening.distance_m),
        wall_m=None if listening.space != "half" else 0.0 if listening.mounting == "in-wall" else depth * 1e-3,
    )


def _heard(
    scene: Scene,
    network: Network,
    target: Target,
    volts: float,
    listening: Listening,
    curve: DriverCurve | None,
    air: Air,
) -> Heard:
    top = targets.MOST_FREQUENCY_HZ
    if curve is not None:
        top = max(top, min(HIGHEST_HZ, curve.frequency_hz[-1]))
    f = np.array(targets.grid(targets.LEAST_FREQUENCY_HZ, top, PER_OCTAVE))
    solution = solve_network(network, f, air, volts, listening.space)
    gain, octave = None, None
    if curve is not None:
        gain, octave = hearing.laid_over(network.driver, curve.frequency_hz, curve.level_db, f, air)
    level = _db(hearing.pressure(scene, solution, air, 1.0 if gain is None else gain))
    plain = _db(solution.pressure(listening.distance_m, listening.space))
    step = hearing.baffle_step(scene, solution.omega, air)
    band = np.flatnonzero((f >= target.band_from_hz) & (f <= min(target.band_to_hz, targets.MOST_FREQUENCY_HZ)))
    if not band.size:
        band = np.arange(len(f))
    at = int(band[(level - plain)[band].argmin()])
    risen = np.flatnonzero(step >= -3.0)
    return Heard(
        frequency_hz=_floats(f),
        spl_db=_floats(level),
        plain_db=_floats(plain),
        baffle_step_db=_floats(step),
        step_hz=float(f[risen[0]]) if risen.size else None,
        cone_m=listening.distance_m,
        mouth_m=None if scene.mouth is None else math.dist(scene.mouth.centre_m, scene.listener_m),
        wall_m=scene.wall_m,
        ripple_db=float(np.ptp(level[band])),
        least_db=float(level[at] - plain[at]),
        least_hz=float(f[at]),
        laid_over_hz=octave,
    )


def _limits(found: Response, driver: Driver, drive: Drive) -> Limits:
    return limiting.limits(
        found,
        drive.volts,
        xmax_mm=driver.xmax_mm,
        power_w=driver.power_w,
        re_ohm=driver.re_ohm,
        mouth_m_s=targets.MOUTH_VELOCITY_M_S,
        most_volts=drive.most_volts,
    )


def _heard_check(heard: Heard, target: Target) -> Check:
    cause = "the edges of the front and the way from cone and mouth"
    if heard.wall_m == 0.0:
        cause = "the way from cone and mouth"
    elif heard.wall_m is not None:
        cause = f"the wall {1e3 * heard.wall_m:.0f} mm behind the front"
    text = (
        f"at the listening place the level spans {heard.ripple_db:.1f} dB from {target.band_from_hz:g} to "
        f"{target.band_to_hz:g} Hz"
    )
    deep = heard.least_db < -DEEP_DB
    if deep:
        text += f": {cause} takes {-heard.least_db:.1f} dB at {heard.least_hz:.0f} Hz"
    return Check("listening", "warn" if deep else "ok", text, round(heard.least_db, 2), -DEEP_DB)


def _mouth_check(scene: Scene) -> tuple[Check, ...]:
    if scene.mouth is None or not scene.wall_m or scene.mouth.normal[2] > -0.7:
        return ()
    text = "the mouth looks at the wall that the body hangs on: give it another face, or stand the body free"
    return (Check("mouth-wall", "warn", text),)


def bass_check(bass: BassControl, limit_mm: float, volts: float) -> Check:
    """Return what a bass control would do to the cone, as a check against the driver's excursion."""
    text = (
        f"a bass control of {bass.gain_db:+g} dB (shelf at {bass.corner_hz:g} Hz) at {volts:g} V would move the cone "
        f"{bass.here_mm:.2f} mm here and {bass.closed_mm:.2f} mm in the closed box from {bass.from_hz:g} Hz up, "
        f"{bass.here_below_mm:.2f} and {bass.closed_below_mm:.2f} mm below; the driver takes {limit_mm:g} mm"
    )
    return Check("bass-control", "warn" if bass.here_mm > limit_mm else "ok", text, round(bass.here_mm, 3), limit_mm)


def _db(pressure: np.ndarray) -> np.ndarray:
    return np.asarray(20.0 * np.log10(np.abs(pressure) / REFERENCE_PA))


def _floats(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
