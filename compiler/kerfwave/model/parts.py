"""What the stages hand on: air, wood, sheets, moves, checks. Millimetres and degrees throughout."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float]
Ring = tuple[Point, ...]  # closed without repeating the first point; outlines counter-clockwise, holes clockwise
Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in a layer (from 1), in body coordinates."""

    layer: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class Check:
    """One design rule and how this body stands to it."""

    id: str
    level: str  # "ok", "warn" or "fail"
    text: str
    value: float | None = None
    limit: float | None = None
    at: tuple[Spot, ...] = ()  # where in the body, if it has a place


@dataclass(frozen=True, slots=True)
class AirPrism:
    """A named piece of air: a polygon across the stack from one height to another."""

    name: str
    kind: str  # "chamber", "guide", "mouth", "driver-seat", "driver-bore", "terminal-seat", "terminal-bore"
    outline: Ring
    holes: tuple[Ring, ...]
    from_z_mm: float
    to_z_mm: float


@dataclass(frozen=True, slots=True)
class Opening:
    """Where inside and outside meet."""

    name: str
    kind: str  # "driver", "mouth" or "terminal"
    centre_mm: Vector
    normal: Vector  # outward, unit length
    area_mm2: float
    diameter_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """Something scored into the upper face of a piece: open lines in the piece's own coordinates."""

    kind: str  # "id", with an arrow, or "next": the outline of the layer that comes on top
    text: str  # what the lines write, "" for an outline
    lines: tuple[Ring, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing to cut, finished sizes. Layers in body coordinates, an inset in its own plane."""

    id: str
    role: str  # "layer", "driver-ring", "driver-collar" or "terminal-plate"
    outline: Ring
    holes: tuple[Ring, ...]
    thickness_mm: float
    layer: int | None = None
    body: int = 1
    grain: str | None = None
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of the stack and the pieces it is made of."""

    index: int
    z_mm: float
    thickness_mm: float
    stock: str
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a piece lies: flipped (x -> -x) first, then turned counter-clockwise about the origin, then moved."""

    piece: str
    sheet: int
    x_mm: float
    y_mm: float
    turn_deg: float
    flipped: bool = False


@dataclass(frozen=True, slots=True)
class KeptOut:
    """A place on a sheet that no piece comes near: within `clearance_mm` and the spacing lies no wood of a piece."""

    what: str  # "knot", "clamp" or "magnet"
    outline: Ring
    clearance_mm: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet that is used. Origin at the lower left of the box around it, x right, y up."""

    number: int
    width_mm: float
    height_mm: float
    margin_mm: float
    pieces_area_mm2: float
    offcut_mm: tuple[float, float, float, float] | None  # largest upright rectangle left over: x, y, w, h
    outline: Ring = ()  # of a sheet that is no rectangle
    keep_out: tuple[KeptOut, ...] = ()
    thickness_mm: float | None = None  # as measured, the mean of its kind's readings


@dataclass(frozen=True, slots=True)
class Nest:
    """All pieces on sheets."""

    sheets: tuple[Sheet, ...]
    placements: tuple[Placement, ...]
    utilisation: float  # wood of pieces / area of sheets used, 0 to 1
    outline_utilisation: float  # filled outlines of pieces not lying in another / area of sheets used
    bound: int  # no layout needs fewer sheets than this


@dataclass(frozen=True, slots=True)
class Recipe:
    """How to cut one stock on this machine."""

    stock: str
    power_percent: float
    feed_mm_min: float
    passes: int
    kerf_mm: float
    air_assist: bool
    verified: bool
    provenance: str  # a sentence
    energy_j_mm2: float  # per cut area, all passes
    uncertainty_percent: float | None = None  # of the energy, where it is an estimate


@dataclass(frozen=True, slots=True)
class Move:
    """One motion. `power` is a fraction of full power, 0 on every rapid."""

    kind: str  # "rapid", "line", "arc-ccw" or "arc-cw"
    x_mm: float
    y_mm: float
    power: float = 0.0
    feed_mm_min: float = 0.0
    centre_x_mm: float | None = None  # arcs only
    centre_y_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Contour:
    """All passes round one closed line, lead-in first. Starts with the rapid that reaches it."""

    piece: str
    kind: str  # "hole", "outline" or "mark"
    moves: tuple[Move, ...]  # none where they stand elsewhere, as text
    length_mm: float  # beam on, all passes
    bridges: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetProgram:
    """Everything one sheet asks of the machine, in order; the writer turns it into text."""

    name: str  # "sheet-01", "coupon-kerf"
    stock: str
    width_mm: float
    height_mm: float
    contours: tuple[Contour, ...]
    cut_mm: float
    travel_mm: float
    time_s: float
    verified: bool
    notes: tuple[str, ...] = ()  # harmless comment lines for the header, already stripped
    times_s: tuple[float, ...] = ()  # of each contour, its way there included; with the way home they make `time_s`


@dataclass(frozen=True, slots=True)
class SafetyLine:
    """One line of the safety list."""

    id: str
    group: str  # "eyes", "fume", "fire", "material", "sound", "electric", "handling", "general"
    level: str  # "stop", "fix-first", "duty" or "note"
    text: str
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    formula: str = ""
    source: str = ""
    status: str = ""  # "measured", "computed", "assumed", "published" or "unknown"
