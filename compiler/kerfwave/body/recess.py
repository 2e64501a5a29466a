"""A recess for the driver's flange, one layer deep: a second ring in front of the driver's, or the first layer itself.

Upright, the pocket in the front is two sheets deep; the driver's ring lies at its bottom, and a collar with a hole for
the flange before it. Facing, the hole of the first layer is as wide as the flange. Both are cut by `air`; this says how
the flange lies then.
"""

from __future__ import annotations

from kerfwave.body.air import Body
from kerfwave.model.parts import Check
from kerfwave.model.spec import Driver


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
