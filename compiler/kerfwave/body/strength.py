"""Panels: the lowest mode of the largest walls that nothing holds in the middle.

A rectangular plate, simply supported all round: f = (pi / 2) sqrt(D / (rho h)) (1 / a^2 + 1 / b^2), with
D = E h^3 / (12 (1 - nu^2)). Leissa, Vibration of Plates, NASA SP-160 (1969), section 4.1 (formula from memory, checked
against its tabulated square plate). Glued edges hold more than simple support does, so the true mode lies higher.
"""

from __future__ import annotations

import math

from kerfwave.body import shapes
from kerfwave.body.air import Body
from kerfwave.model.parts import Check

PLYWOOD_GPA = 6.0  # the softer direction of ordinary plywood, from memory; put your sheet's own in its file
POISSON = 0.3


def panel_mode_hz(a_m: float, b_m: float, thickness_m: float, youngs_pa: float, density_kg_m3: float) -> float:
    """Return the lowest mode of a simply supported rectangular plate.

    >>> round(panel_mode_hz(0.2, 0.2, 0.006, 6e9, 650), 1)
    433.3

    Raises:
        ValueError: for a size that is not above 0.
    """
    if min(a_m, b_m, thickness_m, youngs_pa, density_kg_m3) <= 0:
        raise ValueError("a plate's sizes, stiffness and density are above 0")
    stiffness = youngs_pa * thickness_m**3 / (12 * (1 - POISSON**2))
    return math.pi / 2 * math.sqrt(stiffness / (density_kg_m3 * thickness_m)) * (1 / a_m**2 + 1 / b_m**2)


def check_panels(body: Body, density_kg_m3: float, youngs_gpa: float | None, least_hz: float | None) -> Check:
    """Return the lowest panel mode of floor, lid and the outer walls beside the chamber, against what is asked.

    The guide's passes are narrow and their walls hold each other; the chamber's are the widest spans there are. Each is
    taken as the rectangle around it.
    """
    counts, rules = body.counts, body.rules
    around = shapes.polygon(body.fold.chamber).minimum_rotated_rectangle
    xs = list(around.exterior.coords)
    long, short = sorted((math.dist(xs[0], xs[1]), math.dist(xs[1], xs[2])), reverse=True)
    height = counts.inner_mm
    panels = {
        "lid": (long, short, counts.between_mm((counts.total - counts.lid, counts.total))),
        "floor": (long, short, counts.between_mm((0, counts.floor))),
        "longest wall of the chamber": (long, height, rules.wall_mm),
    }
    stiff = (youngs_gpa or PLYWOOD_GPA) * 1e9
    modes = {
        name: panel_mode_hz(a * 1e-3, b * 1e-3, h * 1e-3, stiff, density_kg_m3) for name, (a, b, h) in panels.items()
    }
    name = min(modes, key=lambda n: (modes[n], n))
    source = "" if youngs_gpa else f", taking {PLYWOOD_GPA:g} GPa for the plywood"
    text = f"lowest panel mode about {modes[name]:.0f} Hz, of the {name}{source}"
    low = least_hz is not None and modes[name] < least_hz
    text += f"; at least {least_hz:g} Hz asked" if least_hz is not None else ""
    return Check("panel-mode", "fail" if low else "ok", text, round(modes[name], 1), least_hz)
