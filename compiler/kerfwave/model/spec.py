"""What a person writes, as values: the spec and the shelf entries it names.

Field names are the YAML keys, units and all. Fields that a person may leave out carry the default that the
schema documents; ``None`` means "not said", and what follows from that is for the trade that reads it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from kerfwave.model.parts import Ring


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far drivers of one type may differ from their data sheet, in percent of the value, either way.

    Nineteen in twenty lie within (two standard deviations of a normal distribution).
    """

    fs: float = 10.0
    vas: float = 15.0  # of the compliance too: the same thing
    qes: float = 10.0
    re: float = 3.0


@dataclass(frozen=True, slots=True)
class DriverCurve:
    """A measured response of the driver alone, in a wide wall or close to the cone; frequencies rise."""

    frequency_hz: tuple[float, ...]
    level_db: tuple[float, ...]  # relative: only its shape counts


@dataclass(frozen=True, slots=True)
class Driver:
    """A small wide-band driver as its data sheet (or a measurement) gives it.

    Any consistent subset of the small-signal parameters will do; `kerfwave.acoustics.driver` completes it.
    The mechanical sizes are those the body is built around.
    """

    name: str
    fs_hz: float  # free-air resonance
    sd_cm2: float  # effective cone area
    re_ohm: float  # direct-current resistance of the voice coil
    frame_mm: float  # outer diameter of the mounting flange
    cutout_mm: float  # hole that the basket passes through
    bolt_circle_mm: float
    depth_mm: float  # from the flange's seat to the rear of the magnet
    xmax_mm: float  # peak linear excursion, one way
    power_w: float  # rated power
    qms: float | None = None
    qes: float | None = None
    qts: float | None = None
    vas_l: float | None = None
    cms_mm_n: float | None = None
    mms_g: float | None = None
    bl_tm: float | None = None
    le_mh: float = 0.0
    l2_mh: float | None = None  # semi-inductance: l2_mh beside r2_ohm, in series with re_ohm and le_mh; both or neither
    r2_ohm: float | None = None
    flange_mm: float | None = None  # thickness of the mounting flange
    gasket_mm: float = 0.0  # under the flange, as it is when the screws are tight
    screw_count: int = 4
    screw_hole_mm: float = 2.5  # pilot hole in the ring
    magnet_mm: float = 50.0  # diameter
    displacement_cm3: float = 0.0  # air the basket and magnet take up behind the flange
    tolerance_percent: Tolerance = field(default_factory=Tolerance)
    response_file: str | None = None  # plain columns on the shelf; what is in it is the spec's `driver_curve`
    price: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Drive:
    """The electrical level at which everything is reported."""

    volts: float = 2.0  # r.m.s. at the terminals
    most_volts: float | None = None  # what the amplifier can give, r.m.s.; None: not known


@dataclass(frozen=True, slots=True)
class Listening:
    """Where and for how long somebody listens."""

    distance_m: float = 1.0
    space: str = "half"  # "full": free standing, "half": on or in a wall
    mounting: str = "on-wall"  # of half space: "on-wall": the back touches it, "in-wall": the front is flush with it
    hours_per_day: float = 2.0
    days_per_week: float = 5.0


@dataclass(frozen=True, slots=True)
class Target:
    """What the speaker shall do at the drive level, at 1 m."""

    band_from_hz: float
    band_to_hz: float
    level_db: float  # mean level in the band, at least
    ripple_db: float  # highest minus lowest in the band, at most
    relief_from_hz: float  # from here up the cone moves less than in the closed box
    relief_to_hz: float = 200.0
    relief_least_db: float = 0.0
    bass_at_hz: float | None = None  # here ...
    bass_gain_db: float = 0.0  # ... at least so much louder than the closed box
    excursion_mm: float | None = None  # peak at the drive; the driver's xmax if not said


@dataclass(frozen=True, slots=True)
class Plan:
    """The outline across the stack: simple, counter-clockwise, with one name per face.

    ``outline[i] -> outline[i + 1]`` is the face ``faces[i]``. The front face lies on y = 0 with the body on
    its y > 0 side; x runs to the right as seen from above with the front at the bottom of the page.
    """

    shape: str  # "rectangle", "trapezoid" or "polygon": for words only
    outline: Ring
    faces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Terminals:
    """The two posts and the plate that carries them."""

    post_hole_mm: float = 6.0
    spacing_mm: float = 19.0  # 3/4 inch, common practice
    plate_width_mm: float = 44.0
    plate_height_mm: float = 24.0
    depth_mm: float = 25.0  # room the posts need behind the plate


@dataclass(frozen=True, slots=True)
class Enclosure:
    """The body's outside limits and the rules its wood must keep."""

    plan: Plan
    height_mm: float  # greatest outside size along the stack
    stack: str = "upright"  # "upright": layers horizontal; "facing": layers parallel to the front
    case: str = "chamber-and-guide"  # or "vented", "quarter-wave", "closed"
    wall_mm: float = 10.0  # least outer wall, in every direction
    separator_mm: float = 6.0  # wood between two passes of the guide
    least_web_mm: float = 3.0  # narrowest wood allowed anywhere
    least_duct_mm: float = 12.0  # narrowest guide
    guide_least_mm: float | None = None  # shortest guide; if not said, what the case takes at relief_from_hz
    storeys: str = "when-needed"  # or "never", "always", "weighed": whether the guide may run on several storeys
    around: str = "when-needed"  # likewise: whether its lanes may follow several walls, about the chamber
    split: str = "never"  # or "when-needed": pieces too large for sheet and bed; "saves-stock": rings too
    seam: str = "butt"  # between parts of a layer; or "keyed"
    corner: str = "round"  # "round" or "chamfer": what is done to the plan's corners
    corner_mm: float = 0.0  # radius, or depth of the chamfer along the wall; 0: sharp
    foot_mm: float | None = None  # diameter of stick-on feet, whose places are marked; None: no feet
    hang_screw_mm: float | None = None  # shank of two screws in a wall, for which keyholes are cut; None: it stands
    plates_mm: float | None = None  # label of the sheets for floor and lid; None: those of all other layers
    panel_hz: float | None = None  # no panel mode shall lie below this; None: not asked
    dowel_mm: float | None = None  # diameter of dowels through the stack; None: no dowels
    wire_mm: float | None = None  # narrower side of the wire that lies in the chamber's wall; None: no channel for it
    lip_mm: float = 0.0  # radius of the mouth's edges; 0: sharp
    marks: str = "ids"  # scored: "none", "ids" (with an arrow) or "outlines" (of the next layer too)
    inset_fit: str = "glue"  # of an inset in its seat: "press", "slide" or "glue"
    dowel_fit: str = "slide"  # of a dowel in its hole
    fit_mm: float | None = None  # play of an inset in its seat, each side, instead of a named fit
    recess: bool = False  # the driver's flange lies one layer deep in the front
    mouth_face: str = "auto"
    terminal_face: str = "auto"
    leak_ql: float = 20.0  # QL of what leaks from the chamber, at relief_from_hz
    as_built_db: float = 0.5  # how far the as-built response may stray from what sizing promised, 50 to 300 Hz
    terminals: Terminals = field(default_factory=Terminals)


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A place on a sheet where nothing may be cut, in the sheet's own coordinates."""

    shape: str  # "circle", "rectangle" or "polygon"
    what: str  # "knot", "clamp" or "magnet"
    x_mm: float | None = None  # of a circle's centre, or a rectangle's lower left corner
    y_mm: float | None = None
    diameter_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    points_mm: Ring | None = None
    clearance_mm: float | None = None  # on top of the spacing; None: what `kerfwave.nest` takes for such a thing


@dataclass(frozen=True, slots=True)
class SheetStock:
    """Some equal sheets: rectangles, or offcuts of any outline.

    With an outline, width and height are those of the box around it, whose lower left corner is the origin. Label and
    readings are the stock's where they are not said; see `kerfwave.model.kinds`.
    """

    width_mm: float
    height_mm: float
    count: int
    price: float | None = None
    outline_mm: Ring | None = None  # either way round; None: a rectangle
    keep_out: tuple[KeepOut, ...] = ()
    thickness_mm: float | None = None  # label and readings of these sheets, where they differ from the stock's
    measured_mm: tuple[float, ...] | None = None
    layers: int | None = None  # of one body that are cut from these sheets, at most; None: as many as they hold


@dataclass(frozen=True, slots=True)
class Stock:
    """One material, in one thickness or several, and the sheets of it that are there."""

    name: str
    material: str  # a key of `kerfwave.safety.materials`, e.g. "birch-plywood"
    glue: str  # "uf", "muf", "pf", "none" or "unknown" (EN 314-2 classes 1, 2, 3)
    thickness_mm: float  # what the label says
    measured_mm: tuple[float, ...]  # calliper readings; their mean is what the body is built from
    density_kg_m3: float
    sheets: tuple[SheetStock, ...]
    grain: str | None = None  # "x" or "y" of the sheet; None: it does not matter
    youngs_gpa: float | None = None  # stiffness along the softer direction; None: not known
    tolerance_mm: float | None = None  # either way from what was measured; None: what the readings tell
    turns: str = "quarter"  # "quarter" turns only, or "any" angle, of pieces whose grain does not matter
    edge_margin_mm: float = 5.0
    spacing_mm: float | None = None  # None: what kerf and char take, see `kerfwave.nest.spacing`
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Laser:
    """The light source. All powers optical."""

    optical_power_w: float
    wavelength_nm: float
    spot_mm: float
    focal_ratio: float | None = None  # focal length / beam width on the lens; None: not known
    enclosed: bool = False  # interlocked full enclosure, Class 1 as a product


@dataclass(frozen=True, slots=True)
class Machine:
    """The cutter and the dialect facts of its controller."""

    name: str
    laser: Laser
    bed_width_mm: float
    bed_height_mm: float
    max_feed_mm_min: float
    rapid_feed_mm_min: float
    acceleration_mm_s2: float
    power_scale: float  # the S word that means full power
    start: tuple[str, ...] = ()
    end: tuple[str, ...] = ()
    laser_on: str = "M4"  # spindle words of RS274, as such machines use them
    laser_off: str = "M5"
    air_on: str | None = None
    air_off: str | None = None
    arcs: bool = True
    decimals: int = 3
    line_length: int = 80
    comments: str = "parentheses"  # or "semicolon", "none"
    power_on_moves: bool = True  # an S word may stand on a feed move
    program_end: str = "M2"  # or "M30"
    home: str = "none"  # "g28": return to the machine's home before anything else
    focus_axis: bool = False  # the head moves in Z; Z0 is where the beam is focused on the sheet's upper face
    axis_scale: tuple[float, float] | None = None  # true length / length asked for, along x and y; None: both 1
    skew_deg: float = 0.0  # how far the y axis leans towards +x
    bridges: str = "when-needed"  # or "never"
    support_gap_mm: float = 5.0  # between neighbouring supports under the sheet
    outline_power_percent: float = 1.0  # the dot that runs round the used area: to be seen, not to mark
    electric_w: float | None = None  # drawn from the socket while it cuts, everything together
    bed_surface: str = "unknown"  # "matt-steel", "bright-metal", "ceramic", "wood", "unknown"
    filter_hours: float | None = None
    lens_hours: float | None = None
    filter_life_hours: float | None = None  # how long one lasts, and what it costs
    filter_price: float | None = None
    lens_life_hours: float | None = None
    lens_price: float | None = None
    energy_price_kwh: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a recipe comes from. `measured` is the only word that makes it trusted."""

    measured: bool
    date: str = ""
    coupon: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class RecipeEntry:
    """One shelf entry: with this laser, this sheet was cut this way."""

    name: str
    optical_power_w: float
    wavelength_nm: float
    material: str
    glue: str
    thickness_mm: float
    air_assist: bool
    power_percent: float
    feed_mm_min: float
    passes: int
    kerf_mm: float
    provenance: Provenance
    kerf_top_mm: float | None = None  # at the upper face, where it was measured apart
    kerf_bottom_mm: float | None = None
    pass_order: str = "contour"  # all passes of a contour at once; "sheet": all contours once, then again
    focus_offset_mm: float = 0.0  # how deep below the upper face the focus lies in the first pass
    focus_step_mm: float = 0.0  # how much deeper in every further pass
    bridges: str | None = None  # overrides the machine's
    score_power_percent: float | None = None  # for marks that are not cut through; None: estimated
    score_feed_mm_min: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Extraction:
    """How the fume leaves."""

    flow_m3_h: float
    capture: str  # "enclosure" (box around the machine) or "nozzle"
    outdoors: bool
    nozzle_distance_mm: float | None = None
    open_area_cm2: float | None = None  # gaps of the box
    duct_mm: float | None = None
    duct_length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Eyewear:
    """What is printed on the eyewear at hand."""

    from_nm: float
    to_nm: float
    optical_density: float | None = None
    lb: int | None = None  # EN 207 scale number, D mode


@dataclass(frozen=True, slots=True)
class Room:
    """The room that the cutting is done in. None and "unknown" never count as a pass."""

    width_m: float
    depth_m: float
    height_m: float
    air_changes_per_h: float | None = None
    extraction: Extraction | None = None
    bystander_m: float | None = None  # nearest other person while the laser runs
    eyewear: Eyewear | None = None
    extinguisher: str = "unknown"  # "water", "foam", "abc-powder", "co2", "none", "unknown"
    smoke_alarm: bool | None = None
    open_flued_appliance: bool | None = None


@dataclass(frozen=True, slots=True)
class Checks:
    """Checks that take a while and can be switched off."""

    field: bool = True  # solve the sound field in the as-built air, beside the network


@dataclass(frozen=True, slots=True)
class Shaping:
    """Filters before the amplifier, if the person has a place for them."""

    most_filters: int = 0  # second-order sections, the protecting high-pass among them; 0: no shaping
    sample_rate_hz: float = 48000.0
    most_boost_db: float = 9.0  # of one filter


@dataclass(frozen=True, slots=True)
class Spec:
    """One whole spec, shelf files read in. The only thing the stages start from."""

    name: str
    driver: Driver
    target: Target
    enclosure: Enclosure
    stock: Stock
    machine: Machine
    recipes: tuple[RecipeEntry, ...]
    room: Room
    count: int = 1  # bodies: 2 for a mirrored pair
    programs: str = "sheet"  # what gets a program of its own: each "sheet", or each "piece"
    drive: Drive = field(default_factory=Drive)
    listening: Listening = field(default_factory=Listening)
    shaping: Shaping = field(default_factory=Shaping)
    checks: Checks = field(default_factory=Checks)
    driver_curve: DriverCurve | None = None  # read from the driver's `response_file`
    acknowledge: tuple[str, ...] = ()  # doubts that somebody has looked into: "doubtful-material"
    notes: str = ""
