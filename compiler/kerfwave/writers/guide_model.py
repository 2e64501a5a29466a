"""What the build guide shows, in the words of the trades and ready to be set."""

from __future__ import annotations

from dataclasses import dataclass, field

from kerfwave.model.parts import Check, SafetyLine
from kerfwave.writers.assembly import FillNote, Step
from kerfwave.writers.bill import BillRow

Fact = tuple[str, str]  # a label and its value in words, e.g. ("Guide", "1.42 m long, 36 x 74 mm")


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its caption; the first column heads its row."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CouponView:
    """A test cut and how to read it."""

    name: str
    svg: str
    program: str  # file name, e.g. "gcode/coupon-kerf.nc"
    time_s: float
    what: str  # what it tells, one sentence
    steps: tuple[str, ...]
    table: Table | None = None  # to fill in, or to read off


@dataclass(frozen=True, slots=True)
class BreakdownView:
    """A sheet larger than the bed, and its cuts."""

    number: int
    svg: str
    cuts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PieceProgram:
    """The program of one piece of a sheet."""

    file: str
    piece: str
    time_s: float
    after: tuple[str, ...]  # pieces that must be cut before


@dataclass(frozen=True, slots=True)
class SheetView:
    """A sheet and what its program will do, or its programs."""

    number: int
    svg: str
    program: str
    time_s: float
    pieces: tuple[str, ...]
    recipe: str  # "full power, 250 mm/min, 8 passes, kerf 0.18 mm"
    stock: str
    verified: bool
    cut_mm: float | None = None
    notes: tuple[str, ...] = ()  # what to see to before and while it runs
    restarts: Table | None = None  # where a stopped program can be taken up again
    bare: tuple[str, ...] = ()  # pieces whose id is not scored
    programs: tuple[PieceProgram, ...] = ()  # one a piece, in the order of cutting; empty if there is one for all


@dataclass(frozen=True, slots=True)
class LayerView:
    """A layer as it is glued on the one below."""

    index: int
    svg: str
    text: str
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class InsetView:
    """A piece that stands across the layers."""

    piece: str
    title: str
    svg: str
    text: str


@dataclass(frozen=True, slots=True)
class ChartView:
    """A chart, what it says in words, and its values."""

    title: str
    svg: str
    text: str
    table: Table | None = None


@dataclass(frozen=True, slots=True)
class Charts:
    """The charts, in the guide's order."""

    charts: tuple[ChartView, ...]


@dataclass(frozen=True, slots=True)
class CutRow:
    """One line of the cut list. Sizes are those of the finished piece's box."""

    piece: str
    role: str
    layer: int | None
    width_mm: float
    height_mm: float
    thickness_mm: float
    sheet: int | None


@dataclass(frozen=True, slots=True)
class GuideModel:
    """All that the guide shows, in its own words. Empty parts leave their section out."""

    name: str
    key: str  # tells the ticks of one revision from those of another: the stem and the digest of the spec
    summary: str  # what it is, a sentence or two
    outcome: str  # "stop", "fix first" or "proceed with these duties"
    outcome_text: str = ""
    notes: str = ""
    headline: tuple[Fact, ...] = ()
    safety: tuple[SafetyLine, ...] = ()
    tools: tuple[str, ...] = ()
    consumables: tuple[str, ...] = ()
    unverified: bool = False
    watch: tuple[str, ...] = ()  # while any sheet is cut
    coupons: tuple[CouponView, ...] = ()
    learn: str = ""  # the command that writes down what the coupons told
    cut_down: tuple[BreakdownView, ...] = ()  # before the sheets
    line_steps: tuple[str, ...] = ()  # how each of those cuts is made
    sheets: tuple[SheetView, ...] = ()
    pieces_svg: str = ""
    plan_svg: str = ""
    more_plans: tuple[str, ...] = ()  # of the storeys above the first
    stack_svg: str = ""
    layers: tuple[LayerView, ...] = ()
    insets: tuple[InsetView, ...] = ()
    fill: tuple[FillNote, ...] = ()
    steps: tuple[Step, ...] = ()
    acoustics: tuple[Fact, ...] = ()
    charts: tuple[ChartView, ...] = ()
    measuring: tuple[Step, ...] = ()  # how the finished speaker is measured
    bill: tuple[BillRow, ...] = ()
    bill_total: str = ""  # a sentence on mass and price of it all
    cut_list: tuple[CutRow, ...] = ()
    checks: tuple[Check, ...] = ()
    provenance: tuple[Fact, ...] = ()
    tables: tuple[Table, ...] = field(default=())  # further tables for the end
