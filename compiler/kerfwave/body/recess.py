"""A recess for the driver's flange, one layer deep: a second ring in front of the driver's, or the first layer itself.

Upright, the pocket in the front is two sheets deep; the driver's ring lies at its bottom, and a collar with a hole for
the flange before it. Facing, the hole of the first layer is as wide as the flange.
"""

from __future__ import annotations

from dataclasses import replace

from kerfwave.body import path, shapes
from kerfwave.body.air import OVERLAP_MM, Body
from kerfwave.model.parts import AirPrism, Check
from kerfwave.model.spec import Driver


def with_recess(body: Body) -> Body:
    """Return the body with room for the driver's flange, if its rules ask for it."""
    rules, t = body.rules, body.rules.thickness_mm
    if rules.recess_mm is None:
        return body
    if rules.stack == "upright":
        a, b = shapes.face_line(body.plan, "front")
        seat = shapes.face_rectangle(a, b, body.fold.driver.along_mm, rules.seat_width_mm, -OVERLAP_MM, 2 * t)
        air = tuple(replace(p, outline=seat) if p.kind == "driver-seat" else p for p in body.air)
        return replace(body, air=air)
    driver = body.fold.driver
    opening = path.circle(driver.x_mm, driver.y_mm, rules.recess_mm)
    recess = AirPrism("driver recess", "driver-recess", opening, (), 0.0, rules.sunk_mm)
    deeper = {"driver-bore", "driver-screw"}
    below = [replace(p, from_z_mm=rules.sunk_mm) if p.kind in deeper else p for p in body.air]
    return replace(body, air=(recess, *(p for p in below if p.to_z_mm > p.from_z_mm + shapes.EPS)))


def check_seat(body: Body, driver: Driver) -> Check:
    """Say how the flange lies to the front; the value is how far it stands proud of it, in mm, negative below."""
    deep = body.rules.sunk_mm
    what = "the driver's flange" + (f" on {driver.gasket_mm:g} mm of gasket" if driver.gasket_mm else "")
    where = f"in a recess {deep:.1f} mm deep" if deep else "on the front"
    if driver.flange_mm is None:
        return Check("driver-seat", "ok", f"{what} lies {where}; its own thickness is not known")
    proud = driver.flange_mm + driver.gasket_mm - deep
    side = f"stands {proud:.1f} mm proud of the front" if proud >= 0 else f"lies {-proud:.1f} mm below the front"
    return Check("driver-seat", "ok", f"{what} lies {where} and {side}", round(proud, 2))
