"""The electro-mechano-acoustical network as values. SI units throughout, time factor e^{+j omega t}."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Air:
    """The medium at one temperature, pressure and humidity."""

    density: float  # kg/m^3
    speed: float  # m/s
    viscosity: float  # dynamic, Pa s
    gamma: float  # ratio of specific heats
    prandtl: float


@dataclass(frozen=True, slots=True)
class DriverParameters:
    """The complete small-signal (Thiele/Small) set, every value consistent with every other."""

    fs_hz: float
    qms: float
    qes: float
    qts: float
    vas_m3: float
    sd_m2: float
    re_ohm: float
    le_h: float
    mms_kg: float
    cms_m_n: float
    rms_kg_s: float
    bl_tm: float
    l2_h: float = 0.0  # semi-inductance: a lossy inductor L2 || R2 in series with Re and Le; 0: none
    r2_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class Segment:
    """One stretch of the guide, from the chamber outwards.

    The section is rectangular with the given area and perimeter, or circular where the perimeter is that of a
    circle. With the law "cone" the area goes from in to out as a cone does: equivalent radius and perimeter are
    linear in the length; with "exponential" area and perimeter are exponentials of it. The lump sits at the inlet
    and may be negative: a bend keeps the volume of its centreline length but has less inertance.
    """

    name: str
    length_m: float
    area_in_m2: float
    area_out_m2: float
    perimeter_in_m: float
    perimeter_out_m: float
    extra_inertance_kg_m4: float = 0.0
    flow_resistivity_pa_s_m2: float = 0.0
    law: str = "cone"  # "cone" or "exponential"


@dataclass(frozen=True, slots=True)
class Mouth:
    """The open end of the guide."""

    area_m2: float
    end: str  # "flanged", "free" or "near-wall": flanged by its face, which meets a wall at right angles
    wall_m: float = 0.0  # "near-wall" only: from the mouth's centre to that wall


@dataclass(frozen=True, slots=True)
class ChamberDuct:
    """The chamber seen along its longer side: a duct with both ends closed, which driver and guide meet on the way.

    What the chamber's volume has more or less than the duct (bores; what the driver takes up) is at the driver.
    """

    length_m: float
    area_m2: float
    perimeter_m: float
    driver_m: float  # from one end to the driver's middle, 0 to the length
    throat_m: float  # from the same end to the middle of the guide's inlet
    step_kg_m4: float = 0.0  # inertance, in air, of the flow that gathers from the duct's section into the inlet


@dataclass(frozen=True, slots=True)
class Network:
    """Driver, chamber behind it, guide from the chamber to the mouth. No guide and no mouth: a closed box."""

    driver: DriverParameters
    chamber_m3: float
    chamber_flow_resistivity_pa_s_m2: float = 0.0
    guide: tuple[Segment, ...] = ()
    mouth: Mouth | None = None
    leak_pa_s_m3: float = 0.0  # acoustic resistance of the chamber's leaks to the outside; 0: tight
    spacing_m: float = 0.0  # between cone and mouth, for the load of either on the other; 0: that is left out
    cone_wall_m: float = 0.0  # with a mouth "near-wall": from the cone's centre to that wall; 0: as far as the mouth
    chamber_duct: ChamberDuct | None = None  # None: the chamber's pressure is the same everywhere


@dataclass(frozen=True, slots=True)
class Response:
    """What the network does at one drive level; all tuples are as long as `frequency_hz`."""

    frequency_hz: tuple[float, ...]
    spl_db: tuple[float, ...]  # re 20 uPa at the distance asked
    excursion_peak_mm: tuple[float, ...]  # one way
    impedance_ohm: tuple[float, ...]
    impedance_phase_deg: tuple[float, ...]
    group_delay_ms: tuple[float, ...]  # of the sound pressure, without the travel time to the listener
    mouth_velocity_peak_m_s: tuple[float, ...]  # zeros for a closed box


@dataclass(frozen=True, slots=True)
class GuideRun:
    """One stretch of the guide as measured on the body: a straight, or a bend.

    The widths lie in the plane of the layers, `height_m` along the stack; `length_m` is that of the centreline.
    """

    name: str
    length_m: float
    width_in_m: float
    width_out_m: float
    height_m: float
    turn_deg: float = 0.0  # 0 for a straight; the sign does not matter to the sound
    inner_radius_m: float = 0.0  # of a bend's inner wall, in the middle of it
    gap_m: float = 0.0  # above 0: no bend in the plane but a passage through a floor, its hole so long along the guide
    floor_m: float = 0.0  # thickness of that floor; 180 degrees: from one storey to the next, 90: from the chamber


@dataclass(frozen=True, slots=True)
class ChamberShape:
    """The chamber as measured on the body, seen along its longer side in the plane of the layers."""

    length_m: float  # of that side
    width_m: float  # mean, across it in the same plane
    height_m: float  # along the stack
    driver_m: float  # from one end of the length to the driver's middle
    throat_m: float  # from the same end to the middle of the guide's inlet
    sideways: bool  # the guide leaves through the longer side; else through an end, flush with the side


@dataclass(frozen=True, slots=True)
class Outside:
    """How cone and mouth lie to each other and to the wall that a body may hang on."""

    spacing_m: float  # between their centres, along the body's outside
    cone_wall_m: float  # from the cone's centre to the plane of the back
    mouth_wall_m: float | None  # from the mouth's centre; None: its face does not meet that plane at a right angle
