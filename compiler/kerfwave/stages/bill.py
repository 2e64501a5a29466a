"""The bill: everything to have on the bench, with where it is used."""

from __future__ import annotations

import math

from kerfwave.body.mounts import HANG_SCREWS
from kerfwave.model.kinds import kind_of_entry
from kerfwave.model.spec import SheetStock
from kerfwave.stages.facts import Facts, area_mm2
from kerfwave.writers.bill import BillRow
from kerfwave.writers.words import mm, percent

GLUE_G_M2 = 150.0  # wood glue on one face of each joint (common practice: 120 to 180 g/m2)
DOWEL_KG_M3 = 700.0  # beech and birch, air dry (from memory)
WIRE_SPARE = 1.5  # on top of the straight way, to work with


def _size(sheet: SheetStock) -> tuple[float, float]:
    return sheet.width_mm, sheet.height_mm


def _the_sheet(facts: Facts, stock: str) -> str:
    """Return how scrap of a kind of sheet is called: by its name only where there are several."""
    return "the same sheet" if len(facts.kinds) == 1 else stock


def bill_rows(facts: Facts) -> tuple[BillRow, ...]:
    """Return the bill's rows, in the order of the work."""
    return (
        *_sheets(facts),
        *_scrap(facts),
        *_bought(facts),
        *_fibre(facts),
        *_dowels(facts),
        *_mounts(facts),
        *_worn(facts),
    )


def _sheets(facts: Facts) -> list[BillRow]:
    """Return the sheets to take out, the smallest first."""
    spec, opened = facts.spec, facts.cut_down.plan.opened
    rows = []
    for entry in sorted({o.entry for o in opened}, key=lambda e: (_size(spec.stock.sheets[e]), e)):
        sheet, kind = spec.stock.sheets[entry], kind_of_entry(facts.supplied.kinds, entry)
        t = kind.thickness_mm
        numbers = sorted(p.sheet for o in opened if o.entry == entry for p in o.parts if p.sheet is not None)
        taken = sum(o.entry == entry for o in opened)
        wood = sum(s.pieces_area_mm2 for s in facts.nest.sheets if s.number in numbers)
        area = taken * (area_mm2(sheet.outline_mm) if sheet.outline_mm else sheet.width_mm * sheet.height_mm)
        offcut = " (offcut)" if sheet.outline_mm else ""
        rows.append(
            BillRow(
                f"{spec.stock.name}, {sheet.width_mm:g} x {sheet.height_mm:g} x {t:g} mm{offcut}",
                taken,
                "sheets",
                area * t * spec.stock.density_kg_m3 * 1e-6,
                None if sheet.price is None else sheet.price * taken,
                ", ".join(f"sheet-{number:02d}" for number in numbers),
                f"{percent(wood / area)} becomes pieces",
            )
        )
    return rows


def _scrap(facts: Facts) -> list[BillRow]:
    """Return what the test cuts are made from."""
    thick = {kind.stock.name: kind.thickness_mm for kind in facts.kinds}
    density = facts.spec.stock.density_kg_m3
    return [
        BillRow(
            f"Scrap of {_the_sheet(facts, c.program.stock)}, {c.program.width_mm:.0f} x {c.program.height_mm:.0f} mm",
            1,
            "piece",
            c.program.width_mm * c.program.height_mm * thick[c.program.stock] * density * 1e-6,
            used_in=c.program.name,
        )
        for c in facts.paths.coupons
    ]


def _bought(facts: Facts) -> list[BillRow]:
    """Return what every body needs that is not cut: driver, its screws and gasket, terminals, wire and glue."""
    spec, n = facts.spec, facts.spec.count
    price = None if spec.driver.price is None else n * spec.driver.price
    plates = ", ".join(p.id for p in facts.sliced.insets if p.role == "terminal-plate")
    glue_g = n * glue_area_mm2(facts) * 1e-6 * GLUE_G_M2
    return [
        BillRow(spec.driver.name, n, "piece" if n == 1 else "pieces", None, price, "driver", ""),
        BillRow(
            f"Wood screw for a pilot hole of {spec.driver.screw_hole_mm:g} mm",
            n * spec.driver.screw_count,
            "pieces",
            used_in="driver",
        ),
        BillRow(
            "Gasket for the driver's frame, 2 mm foam",
            math.ceil(n * math.pi * spec.driver.bolt_circle_mm),
            "mm",
            used_in="driver",
        ),
        BillRow(
            f"Terminal post for a {spec.enclosure.terminals.post_hole_mm:g} mm hole", 2 * n, "pieces", used_in=plates
        ),
        BillRow("Two-core speaker wire, 0.75 mm2", n * _wire_mm(facts), "mm", used_in="terminals to driver"),
        BillRow(
            "Wood glue",
            glue_g,
            "g",
            glue_g,
            used_in="layers and insets",
            note=f"{n * glue_area_mm2(facts) / 100:.0f} cm2 of joints, {GLUE_G_M2:g} g/m2 (common practice)",
        ),
    ]


def _fibre(facts: Facts) -> list[BillRow]:
    n = facts.spec.count
    each = "" if n == 1 else "; half of it for each body"
    return [
        BillRow("Loose polyester fibre", n * f.grams, "g", n * f.grams, used_in=f.place, note=f.text + each)
        for f in facts.fill
    ]


def _dowels(facts: Facts) -> list[BillRow]:
    """Return the rod that dowels are cut from, if there are any."""
    n, diameter_mm = facts.spec.count, facts.spec.enclosure.dowel_mm
    holes = [p for p in facts.built.body.air if p.kind == "dowel"]
    if not holes or diameter_mm is None:
        return []
    length = (holes[0].to_z_mm - holes[0].from_z_mm) * len(holes) * n
    return [
        BillRow(
            f"Dowel, {diameter_mm:g} mm",
            length,
            "mm",
            math.pi / 4 * diameter_mm**2 * length * DOWEL_KG_M3 * 1e-6,
            used_in="through the stack",
            note=f"{n * len(holes)} of {mm(length / len(holes) / n)}",
        )
    ]


def _mounts(facts: Facts) -> list[BillRow]:
    """Return what a body stands on or hangs by."""
    asked, n, air = facts.spec.enclosure, facts.spec.count, facts.built.body.air
    rows = []
    feet = n * sum(p.kind == "foot" for p in air)
    if feet:
        rows.append(BillRow(f"Stick-on rubber foot, {asked.foot_mm:g} mm", feet, "pieces", used_in="under the floor"))
    if any(p.kind == "keyhole" for p in air):
        rows.append(
            BillRow(
                f"Wood screw, {asked.hang_screw_mm:g} mm, countersunk",
                n * HANG_SCREWS,
                "pieces",
                used_in="wall",
                note="with plugs that suit the wall",
            )
        )
    return rows


def _worn(facts: Facts) -> list[BillRow]:
    """Return what the job takes of current, lens and filter, priced where the machine file tells what they cost."""
    machine, used = facts.spec.machine, facts.paths.usage
    rows = []
    if used.electric_kwh is not None:
        price = None if machine.energy_price_kwh is None else machine.energy_price_kwh * used.electric_kwh
        rows.append(BillRow("Electricity", used.electric_kwh, "kWh", price=price, used_in="all sheets"))
    parts = (
        ("Lens", used.beam_h, machine.lens_hours, machine.lens_life_hours, machine.lens_price, "cleaned", "beam"),
        (
            "Fume filter",
            used.machine_h,
            machine.filter_hours,
            machine.filter_life_hours,
            machine.filter_price,
            "changed",
            "",
        ),
    )
    for item, hours, since, life, cost, word, kind in parts:
        price = None if cost is None or life is None else cost * hours / life
        told = [f"{since + hours:.0f} h since it was {word} when the job is done"] if since is not None else []
        told += [f"one lasts {life:g} h"] if life is not None else []
        rows.append(
            BillRow(
                f"{item}, hours of {kind or 'smoke'}",
                hours,
                "h",
                price=price,
                used_in="all sheets",
                note=", ".join(told),
            )
        )
    return rows


def bill_total(rows: tuple[BillRow, ...]) -> str:
    """Return what the bill comes to, as a sentence that says what it leaves out."""
    priced = [row.price for row in rows if row.price is not None]
    missing = len(rows) - len(priced)
    if not priced:
        return "The shelf has no price for any of it"
    lines = "one priced line comes" if len(priced) == 1 else f"{len(priced)} priced lines come"
    return f"The {lines} to {math.fsum(priced):.2f}; {missing} have no price on the shelf"


def glue_area_mm2(facts: Facts) -> float:
    """Return the area of all glued joints of one body: between layers, and insets on their shoulders."""
    area = math.fsum(facts.joints_mm2)
    rules, counts, levels = facts.built.body.rules, facts.built.body.counts, facts.built.body.levels
    plate = rules.plate_width_mm * counts.between_mm(levels.plate)
    bore = next(o for o in facts.built.body.openings if o.kind == "terminal").area_mm2
    area += plate - bore
    if rules.stack == "upright":
        area += rules.seat_width_mm * counts.between_mm(levels.seat) - math.pi / 4 * rules.bore_mm**2
    return area


def _wire_mm(facts: Facts) -> float:
    ends = {o.kind: o.centre_mm for o in facts.built.body.openings}
    return round((1 + WIRE_SPARE) * math.dist(ends["driver"], ends["terminal"]) / 10) * 10.0
