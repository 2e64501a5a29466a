"""An invented small body with all that a writer has to show: chords of a round seat, loose parts, insets, a coupon."""

import math
from dataclasses import dataclass

import pytest
from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.model.acoustic import Response
from kerfwave.model.parts import (
    AirPrism,
    Check,
    Contour,
    Layer,
    Move,
    Opening,
    Piece,
    Placement,
    Ring,
    SafetyLine,
    Sheet,
    SheetProgram,
)
from kerfwave.writers import charts, drawings
from kerfwave.writers.assembly import FillNote, assembly_steps
from kerfwave.writers.bill import BillRow
from kerfwave.writers.captions import layer_text
from kerfwave.writers.guide_model import (
    ChartView,
    CouponView,
    CutRow,
    GuideModel,
    InsetView,
    LayerView,
    SheetView,
    Table,
)

THICKNESS = 6.2
LAYERS = 14
PLAN: Ring = ((0.0, 0.0), (240.0, 0.0), (210.0, 160.0), (30.0, 160.0))
DRIVER_Z = THICKNESS * LAYERS / 2
OPENINGS = (
    Opening("driver", "driver", (105.0, 0.0, DRIVER_Z), (0.0, -1.0, 0.0), math.pi * 35**2, diameter_mm=70.0),
    Opening("mouth", "mouth", (205.0, 0.0, DRIVER_Z), (0.0, -1.0, 0.0), 38 * 74.4, width_mm=38.0, height_mm=74.4),
    Opening("terminals", "terminal", (105.0, 160.0, DRIVER_Z), (0.0, 1.0, 0.0), 44 * 24, width_mm=44.0, height_mm=24.0),
)


@dataclass(frozen=True)
class Body:
    plan: Ring
    air: tuple[AirPrism, ...]
    layers: tuple[Layer, ...]
    pieces: tuple[Piece, ...]
    openings: tuple[Opening, ...]
    sheets: tuple[Sheet, ...]
    placements: tuple[Placement, ...]

    def of_layer(self, index: int) -> tuple[Piece, ...]:
        return tuple(p for p in self.pieces if p.layer == index)


def box(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def circle(radius: float, count: int = 64, clockwise: bool = False) -> Ring:
    points = [(radius * math.cos(math.tau * i / count), radius * math.sin(math.tau * i / count)) for i in range(count)]
    return tuple(reversed(points)) if clockwise else tuple(points)


def _air() -> tuple[AirPrism, ...]:
    low, high = THICKNESS, THICKNESS * (LAYERS - 1)

    def whole(name: str, kind: str, outline: Ring) -> AirPrism:
        return AirPrism(name, kind, outline, (), low, high)

    prisms = [
        whole("chamber", "chamber", box(60, 14, 150, 100)),
        whole("throat", "guide", box(54, 14, 60, 44)),
        whole("left pass", "guide", ((16.0, 14.0), (54.0, 14.0), (54.0, 146.0), (38.0, 146.0))),
        whole("back pass", "guide", ((54.0, 110.0), (208.0, 110.0), (202.0, 146.0), (54.0, 146.0))),
        whole("right pass", "guide", ((186.0, 0.0), (224.0, 0.0), (206.0, 110.0), (168.0, 110.0))),
    ]
    for i in range(1, LAYERS - 1):
        z = i * THICKNESS
        away = abs(z + THICKNESS / 2 - DRIVER_Z)
        for kind, radius, y0, y1 in (("driver-seat", 42.0, 0.0, 6.2), ("driver-bore", 35.0, 6.2, 14.0)):
            if away < radius:
                half = math.sqrt(radius**2 - away**2)
                prisms.append(AirPrism(kind, kind, box(105 - half, y0, 105 + half, y1), (), z, z + THICKNESS))
        if away < 12:
            prisms.append(AirPrism("terminal-seat", "terminal-seat", box(83, 153.8, 127, 160), (), z, z + THICKNESS))
        if away < 8:
            prisms.append(AirPrism("terminal-bore", "terminal-bore", box(91, 146, 119, 153.8), (), z, z + THICKNESS))
    return tuple(prisms)


def make_body() -> Body:
    """Slice the invented body by the one subtraction, and lay two layers on each sheet."""
    air = _air()
    layers, pieces = [], []
    for i in range(LAYERS):
        z = i * THICKNESS
        here = [Polygon(a.outline, a.holes) for a in air if a.from_z_mm < z + 1e-6 < a.to_z_mm]
        wood = Polygon(PLAN).difference(unary_union(here))
        parts = sorted(getattr(wood, "geoms", [wood]), key=lambda p: -p.area)
        ids = []
        for k, part in enumerate(parts):
            name = f"L{i + 1:02d}" + (chr(ord("a") + k) if len(parts) > 1 else "")
            outline = tuple((x, y) for x, y in part.exterior.coords[:-1])
            holes = tuple(tuple((x, y) for x, y in h.coords[:-1]) for h in part.interiors)
            pieces.append(Piece(name, "layer", outline, holes, THICKNESS, layer=i + 1))
            ids.append(name)
        layers.append(Layer(i + 1, z, THICKNESS, "birch-6", tuple(ids)))
    pieces.append(Piece("R1", "driver-ring", circle(41.85), (circle(35.0, clockwise=True),), THICKNESS))
    posts = tuple(tuple((x + dx, y) for x, y in circle(3.0, 24, True)) for dx in (-9.5, 9.5))
    pieces.append(Piece("T1", "terminal-plate", box(-21.85, -11.85, 21.85, 11.85), posts, THICKNESS))
    sheets, placements = [], []
    for s in range(LAYERS // 2):
        sheets.append(Sheet(s + 1, 400.0, 360.0, 5.0, 40000.0, (255.0, 5.0, 140.0, 350.0) if s else None))
    for p in pieces:
        if p.layer is not None:
            sheet, slot = divmod(p.layer - 1, 2)
            if slot:  # the second lies upside down, turned by half
                placements.append(Placement(p.id, sheet + 1, 250.0, 345.0, 180.0))
            else:
                placements.append(Placement(p.id, sheet + 1, 10.0, 10.0, 0.0))
        else:
            placements.append(Placement(p.id, 1, 320.0, 60.0 if p.role == "driver-ring" else 140.0, 90.0))
    return Body(PLAN, air, tuple(layers), tuple(pieces), OPENINGS, tuple(sheets), tuple(placements))


def make_coupon() -> SheetProgram:
    """Two squares cut twice, a disc cut with arcs, between them rapids."""

    def square(x: float, name: str) -> Contour:
        corners = ((x, 5.0), (x + 20, 5.0), (x + 20, 25.0), (x, 25.0), (x, 5.0))
        moves = [Move("rapid", x, 5.0)]
        moves += [Move("line", cx, cy, 1.0, 250.0) for _ in range(2) for cx, cy in corners[1:]]
        return Contour(name, "outline", tuple(moves), 160.0)

    disc = Contour(
        "C3",
        "hole",
        (Move("rapid", 75.0, 15.0), Move("arc-ccw", 75.0, 15.0, 1.0, 250.0, 65.0, 15.0)),
        62.83,
    )
    contours = (square(5.0, "C1"), square(30.0, "C2"), disc)
    return SheetProgram("coupon-kerf", "birch-6", 90.0, 30.0, contours, 382.83, 75.0, 95.0, False, ("kerf test",))


def make_response(fs: float, q: float, gain: float, travel: float) -> Response:
    """Return an invented response of about the right shape: a second-order high pass and a resonance."""
    frequency = tuple(20.0 * 10 ** (i / 100) for i in range(201))
    spl, excursion, impedance, phase, delay, mouth = [], [], [], [], [], []
    for f in frequency:
        x = f / fs
        h = x * x / complex(1 - x * x, x / q)
        spl.append(84 + gain + 20 * math.log10(abs(h)) - 3 * math.sin(f / 90))
        excursion.append(travel / abs(complex(1 - x * x, x / q)))
        z = 6.3 + 24 / complex(1, 3.5 * (x - 1 / x)) + 1j * f * 3e-4 * math.tau
        impedance.append(abs(z))
        phase.append(math.degrees(math.atan2(z.imag, z.real)))
        delay.append(12 / (1 + (x - 0.8) ** 2 * 4))
        mouth.append(1.4 * math.exp(-((math.log(x)) ** 2)))
    return Response(frequency, *(tuple(v) for v in (spl, excursion, impedance, phase, delay, mouth)))


def _sheets(body: Body, name: str, stock: str, text: str, unverified: bool) -> tuple[SheetView, ...]:
    return tuple(
        SheetView(
            s.number,
            drawings.sheet_svg(
                s,
                body.placements,
                body.pieces,
                title=f"{name}: sheet {s.number}",
                stock=stock,
                verified=not unverified,
            ),
            f"gcode/sheet-{s.number:02d}.nc",
            7260.0,
            tuple(p.piece for p in body.placements if p.sheet == s.number),
            "full power, 250 mm/min, 8 passes, kerf 0.18 mm",
            stock,
            not unverified,
            5230.0,
            ("Restart points: the program pauses nowhere; restart at the contour whose comment you last saw." + text,),
        )
        for s in body.sheets
    )


def _layers(body: Body) -> tuple[LayerView, ...]:
    return tuple(
        LayerView(
            layer.index,
            drawings.layer_svg(layer, body.pieces, body.of_layer(layer.index - 1), body.plan, openings=body.openings),
            layer_text(layer),
            layer.pieces,
        )
        for layer in body.layers
    )


def _safety(text: str) -> tuple[SafetyLine, ...]:
    return (
        SafetyLine(
            "eyewear",
            "eyes",
            "fix-first",
            "No eyewear is stated. At 445 nm it needs an optical density of 5.",
            5.1,
            "OD",
            None,
            "log10(E0 / MPE)",
            "EN 207 guidance" + text,
            "computed",
        ),
        SafetyLine(
            "fire", "fire", "duty", "Stay beside the machine with water at hand." + text, source="common practice"
        ),
        SafetyLine(
            "distance",
            "eyes",
            "duty",
            "Nobody without eyewear nearer than this.",
            5.0,
            "m",
            0.0001,
            "",
            "IEC",
            "computed",
        ),
        SafetyLine("alarm", "fire", "stop", "There is no smoke alarm.", status="unknown"),
        SafetyLine("general", "general", "note", "Local codes come first."),
    )


def _charts(text: str) -> tuple[ChartView, ...]:
    built, closed = make_response(88.0, 0.9, 2.5, 0.75), make_response(132.0, 1.0, 0.0, 0.7)
    relief = tuple(
        20 * math.log10(b / a) for a, b in zip(built.excursion_peak_mm, closed.excursion_peak_mm, strict=True)
    )
    table = Table(
        "Sound pressure level, dB",
        ("Hz", "this body", "closed box"),
        charts.table_rows(built.frequency_hz, ((built.spl_db, 1), (closed.spl_db, 1))),
    )
    return (
        ChartView(
            "Level",
            charts.response_chart(built, closed, band=(100, 700), level_db=80),
            "Level at 1 m." + text,
            table,
        ),
        ChartView(
            "Excursion",
            charts.excursion_chart(built, closed, limit_mm=2.0, relief_band=(70, 200)),
            "How far the cone moves.",
        ),
        ChartView(
            "Relief",
            charts.relief_chart(built.frequency_hz, relief, from_hz=70, to_hz=200, least_db=1),
            "How much less.",
        ),
        ChartView("Impedance", charts.impedance_chart(built), "At the terminals."),
        ChartView("Group delay", charts.group_delay_chart(built), "Delay of the sound."),
        ChartView("Mouth", charts.mouth_velocity_chart(built), "Air in the mouth."),
    )


def _coupons(text: str) -> tuple[CouponView, ...]:
    return (
        CouponView(
            "Kerf coupon" + text,
            drawings.coupon_svg(make_coupon(), (), "Kerf coupon" + text),
            "gcode/coupon-kerf.nc",
            95.0,
            "Tells how wide the beam cuts.",
            ("Cut it.", "Push the squares together and measure.", "Write the kerf into the recipe." + text),
        ),
    )


def guide_of(name: str = "Post, an invented wall speaker", text: str = "", unverified: bool = True) -> GuideModel:
    """Return a whole guide; `text` is put wherever a spec may bring its own words."""
    body = make_body()
    stock = "Birch plywood 6.2 mm" + text
    fill = (FillNote("rear chamber", 4.2, "It damps the chamber's own resonance." + text),)
    insets = tuple(
        InsetView(p.id, title, drawings.inset_svg(p, title), "Good face outwards." + text)
        for p, title in zip(body.pieces[-2:], ("Driver ring", "Terminal plate"), strict=True)
    )
    return GuideModel(
        name=name,
        key="3f1c0ffee" + text,
        summary="A small wall speaker for a listening post. Scenario and all numbers are invented." + text,
        outcome="fix first",
        outcome_text="Two lines below have to be put right before the laser is switched on." + text,
        notes=text,
        headline=(
            ("Outside", "240 × 160 × 86.8 mm" + text),
            ("Guide", "0.46 m long"),
            ("Sheets", "7 of 6.2 mm (0.244 in)"),
            ("Relief, 70 to 200 Hz", "at least 0.4 dB"),
        ),
        safety=_safety(text),
        tools=("Clamps", "Square" + text, "Calliper", "Soldering iron"),
        consumables=("Wood glue, 60 g", "Baking paper"),
        unverified=unverified,
        coupons=_coupons(text),
        sheets=_sheets(body, name, stock, text, unverified),
        pieces_svg=drawings.pieces_svg(body.pieces, body.placements),
        plan_svg=drawings.plan_svg(body.air, body.plan, openings=body.openings),
        stack_svg=drawings.stack_svg(body.layers, body.openings, body.plan),
        layers=_layers(body),
        insets=insets,
        fill=fill,
        steps=assembly_steps(
            body.layers, body.pieces, body.openings, lid=14, fill=fill, screw_count=4, screw_hole_mm=2.5
        ),
        acoustics=(("Chamber", "0.58 l"), ("Drive", "2 V r.m.s.")),
        charts=_charts(text),
        bill=(
            BillRow("Birch plywood" + text, 7, "sheet", 4200.0, 38.5, "body", "6.2 mm measured"),
            BillRow("Driver", 1, "piece", None, None, "ring R1", text),
        ),
        cut_list=tuple(
            CutRow(p.id, p.role, p.layer, 240.0, 160.0, p.thickness_mm, 1 + i // 6) for i, p in enumerate(body.pieces)
        ),
        checks=(
            Check("web", "ok", "Narrowest web" + text, 6.0, 3.0),
            Check("ripple", "warn", "Ripple in the band, dB", 8.71234, 9.0),
            Check("level", "fail", "Mean level in the band, dB", 79.2, 80.0),
        ),
        provenance=(("Spec", "specs/post.yaml" + text), ("Version", "0.1.0")),
        tables=(Table("Stages" + text, ("Stage", "Key"), (("sizing", "ab12"), ("body", "cd34"))),),
    )


@pytest.fixture(scope="session")
def body() -> Body:
    return make_body()


@pytest.fixture(scope="session")
def coupon() -> SheetProgram:
    return make_coupon()


@pytest.fixture(scope="session")
def built() -> Response:
    return make_response(88.0, 0.9, 2.5, 0.75)


@pytest.fixture(scope="session")
def closed() -> Response:
    return make_response(132.0, 1.0, 0.0, 0.7)


@pytest.fixture(scope="session")
def guide() -> GuideModel:
    return guide_of()


@pytest.fixture(scope="session")
def make_guide():
    return guide_of
