"""The bill: everything to have on the bench, with where it is used."""

from __future__ import annotations

import itertools
import math

from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.body.rules import plate_layers, ring_layers
from kerfwave.stages.facts import Facts
from kerfwave.writers.bill import BillRow

GLUE_G_M2 = 150.0  # wood glue on one face of each joint (common practice: 120 to 180 g/m2)
WIRE_SPARE = 1.5  # on top of the straight way, to work with


def bill_rows(facts: Facts) -> tuple[BillRow, ...]:
    """Return the bill's rows, in the order of the work."""
    spec = facts.spec
    t = facts.sized.rules.thickness_mm
    rows = []
    for size in sorted({(s.width_mm, s.height_mm) for s in facts.nest.sheets}):
        used = [s for s in facts.nest.sheets if (s.width_mm, s.height_mm) == size]
        price = next((s.price for s in spec.stock.sheets if (s.width_mm, s.height_mm) == size), None)
        wood = sum(s.pieces_area_mm2 for s in used)
        mass = size[0] * size[1] * t * len(used) * spec.stock.density_kg_m3 * 1e-6
        rows.append(
            BillRow(
                f"{spec.stock.name}, {size[0]:g} x {size[1]:g} x {t:g} mm",
                len(used),
                "sheets",
                mass,
                None if price is None else price * len(used),
                ", ".join(f"sheet-{s.number:02d}" for s in used),
                f"{wood / (len(used) * size[0] * size[1]):.0%} becomes pieces",
            )
        )
    n = spec.count
    price = None if spec.driver.price is None else n * spec.driver.price
    plates = ", ".join(p.id for p in facts.sliced.insets if p.role == "terminal-plate")
    each = "" if n == 1 else "; half of it for each body"
    rows += [
        BillRow(spec.driver.name, n, "piece" if n == 1 else "pieces", None, price, "driver", ""),
        BillRow(
            f"Wood screw for a pilot hole of {spec.driver.screw_hole_mm:g} mm",
            n * spec.driver.screw_count,
            "pieces",
            used_in="driver",
        ),
        BillRow(
            "Gasket for the driver's frame, 2 mm foam", n * math.pi * spec.driver.bolt_circle_mm, "mm", used_in="driver"
        ),
        BillRow(
            f"Terminal post for a {spec.enclosure.terminals.post_hole_mm:g} mm hole", 2 * n, "pieces", used_in=plates
        ),
        BillRow("Two-core speaker wire, 0.75 mm2", n * _wire_mm(facts), "mm", used_in="terminals to driver"),
        BillRow(
            "Wood glue",
            n * glue_area_mm2(facts) * 1e-6 * GLUE_G_M2,
            "g",
            used_in="layers and insets",
            note=f"{n * glue_area_mm2(facts) / 100:.0f} cm2 of joints, {GLUE_G_M2:g} g/m2 (common practice)",
        ),
    ]
    rows += [
        BillRow("Loose polyester fibre", n * f.grams, "g", n * f.grams, used_in=f.place, note=f.text + each)
        for f in facts.fill
    ]
    holes = [p for p in facts.built.body.air if p.kind == "dowel"]
    if holes:
        length = (holes[0].to_z_mm - holes[0].from_z_mm) * len(holes) * n
        rows.append(
            BillRow(
                f"Dowel, {spec.enclosure.dowel_mm:g} mm",
                length,
                "mm",
                used_in="through the stack",
                note=f"{n * len(holes)} of {length / len(holes) / n:.0f} mm",
            )
        )
    hours = sum(p.time_s for p in facts.paths.programs) / 3600
    for item, life in (("Lens", spec.machine.lens_hours), ("Filter", spec.machine.filter_hours)):
        if life:
            rows.append(
                BillRow(f"{item} hours", hours, "h", used_in="all sheets", note=f"of {life:g} h that one lasts")
            )
    return tuple(rows)


def glue_area_mm2(facts: Facts) -> float:
    """Return the area of all glued joints of one body: between layers, and insets on their shoulders."""
    by_id = {p.id: Polygon(p.outline, [list(h) for h in p.holes]) for p in facts.sliced.pieces}
    wood = [unary_union([by_id[name] for name in layer.pieces]) for layer in facts.sliced.layers]
    area = math.fsum(float(a.intersection(b).area) for a, b in itertools.pairwise(wood))
    rules, middle = facts.built.body.rules, facts.built.body.levels.middle
    t = rules.thickness_mm
    plate = rules.plate_width_mm * plate_layers(rules, middle) * t
    bore = next(o for o in facts.built.body.openings if o.kind == "terminal").area_mm2
    area += plate - bore
    if rules.stack == "upright":
        area += rules.seat_width_mm * ring_layers(rules, middle) * t - math.pi / 4 * rules.bore_mm**2
    return area


def _wire_mm(facts: Facts) -> float:
    ends = {o.kind: o.centre_mm for o in facts.built.body.openings}
    return round((1 + WIRE_SPARE) * math.dist(ends["driver"], ends["terminal"]) / 10) * 10.0
