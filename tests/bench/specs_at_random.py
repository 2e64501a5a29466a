"""Random specs for the campaign of bodies: every one is what a person could have written, not all of them wise."""

from __future__ import annotations

import math
import random
from typing import Any

SHEET_MM = (3.0, 4.0, 6.0, 9.0)
PLANS = ("rectangle", "trapezoid", "regular polygon", "polygon")
MACHINE = {
    "name": "Open frame",
    "bed_mm": [600, 600],
    "laser": {"optical_power_w": 10, "wavelength_nm": 450, "spot_mm": 0.1},
    "max_feed_mm_min": 6000,
    "rapid_feed_mm_min": 6000,
    "acceleration_mm_s2": 500,
    "power_scale": 1000,
}
ROOM = {"width_m": 4, "depth_m": 4, "height_m": 2.5}


class Chance:
    """Draws from one seeded generator, of which only `random()` is used."""

    def __init__(self, seed: int) -> None:
        self.one = random.Random(seed).random

    def between(self, low: float, high: float) -> float:
        """Return a number, every one as likely."""
        return low + (high - low) * self.one()

    def spread(self, low: float, high: float) -> float:
        """Return a number, every ratio as likely."""
        return low * (high / low) ** self.one()

    def pick(self, *among: Any) -> Any:
        """Return one of several."""
        return among[int(self.one() * len(among))]


def spec(seed: int) -> dict[str, Any]:
    """Return one spec as plain data: 40 to 130 mm of frame, a guide of 0.3 to 2.5 m, a body of 1 to 20 litres.

    Six in seven have a body that is large enough for its driver; the others may be as absurd as they like. Promises
    about the sound are weak: whether the guide folds is the question.
    """
    chance = Chance(seed)
    frame = round(chance.spread(40, 130), 1)
    litres = chance.spread(1.0 if chance.one() < 1 / 7 else max(1.0, 2.5 * (frame / 100) ** 3), 20.0)
    sheet = chance.pick(*SHEET_MM)
    wall = round(chance.between(1, 2.2) * max(5.0, sheet), 1)
    stack = chance.pick("upright", "upright", "facing")
    driver = _driver(chance, frame)
    if stack == "upright":
        height = (frame + 8 + 2 * max(wall, sheet)) * chance.spread(1.05, 2.0)
    else:
        height = (driver["depth_mm"] + 10 + 2 * max(wall, sheet)) * chance.spread(1.05, 2.0)
    height = min(height, 1.2 * (1e6 * litres) ** (1 / 3) * chance.between(0.8, 1.1)) if litres > 3 else height
    shape = chance.pick(*PLANS)
    plan, faces = _plan(chance, shape, 1e6 * litres / height)
    enclosure: dict[str, Any] = {
        "stack": stack,
        "plan": plan,
        "height_mm": round(height, 1),
        "wall_mm": wall,
        "separator_mm": round(chance.between(1, 1.5) * max(4.0, sheet), 1),
        "least_web_mm": 2.5,
        "least_duct_mm": round(chance.between(0.12, 0.2) * frame, 1),
        "guide_least_mm": round(chance.spread(300, 2500)),
        "corner": chance.pick("round", "chamfer"),
        "corner_mm": round(wall * chance.pick(0.0, 0.5, 1.0), 1),
        "mouth_face": chance.pick("auto", "auto", chance.pick(*faces)),
        "terminal_face": chance.pick("auto", "auto", chance.pick(*faces)),
        "terminals": {"plate_width_mm": 34, "plate_height_mm": 18, "depth_mm": 15},
    }
    if chance.one() < 0.5:
        enclosure["dowel_mm"] = 3
    return {
        "format": 1,
        "name": f"Random {seed}",
        "driver": driver,
        "target": {"band_from_hz": 120, "band_to_hz": 700, "level_db": 50, "ripple_db": 40, "relief_from_hz": 80},
        "enclosure": enclosure,
        "stock": _stock(chance, sheet),
        "machine": MACHINE,
        "room": ROOM,
    }


def mixed(data: dict[str, Any], seed: int) -> dict[str, Any]:
    """Return a spec with sheets of three thicknesses, some with plates of their own, some with feet or keyholes."""
    chance = Chance(seed + 1_000_000)
    stock, label = data["stock"], data["stock"]["thickness_mm"]
    sheets = [
        {
            "width_mm": 600,
            "height_mm": 600,
            "count": chance.pick(1, 2, 40),
            "measured_mm": round(label * chance.between(0.94, 1.05), 3),
        }
        for _ in range(2)
    ]
    sheets += stock["sheets"]
    enclosure = dict(data["enclosure"])
    if chance.one() < 0.3:
        plate = chance.pick(*(t for t in SHEET_MM if t != label))
        plates = round(plate * chance.between(0.96, 1.02), 2)
        sheets.append({**stock["sheets"][0], "thickness_mm": plate, "measured_mm": plates})
        enclosure["plates_mm"] = plate
    if chance.one() < 0.3 and enclosure["stack"] == "upright":
        enclosure["foot_mm"] = 12
    backs = "back" in enclosure["plan"].get("faces", ("back",))
    if chance.one() < 0.3 and (backs or enclosure["stack"] == "facing"):
        for key in ("mouth_face", "terminal_face"):  # they cannot both be on the wall
            enclosure[key] = "auto" if enclosure[key] == "back" else enclosure[key]
        enclosure["hang_screw_mm"] = chance.pick(3, 4)
    return {**data, "stock": {**stock, "sheets": sheets}, "enclosure": enclosure}


def in_a_shop(data: dict[str, Any], seed: int) -> dict[str, Any]:
    """Return a spec with a machine, sheets, a recipe and ways of building that a person could have, all drawn."""
    chance = Chance(seed + 2_000_000)
    bed = chance.pick(300, 390, 400, 600), chance.pick(300, 400, 410, 600)
    machine = {
        **MACHINE,
        "bed_mm": list(bed),
        "acceleration_mm_s2": chance.pick(100, 500, 3000),
        "power_scale": chance.pick(100, 255, 1000),
        "laser_on": chance.pick("M3", "M4"),
        "arcs": chance.pick(True, False),
        "decimals": chance.pick(2, 3, 4),
        "line_length": chance.pick(60, 80, 256),
        "comments": chance.pick("parentheses", "semicolon", "none"),
        "power_on_moves": chance.pick(True, False),
        "program_end": chance.pick("M2", "M30"),
        "bridges": chance.pick("when-needed", "when-needed", "never"),
        "support_gap_mm": chance.pick(2, 10, 40),
        "bed_surface": chance.pick("matt-steel", "wood", "unknown"),
    }
    if chance.one() < 0.5:
        machine |= {"air_on": "M8", "air_off": "M9"}
    stock = data["stock"]
    sheets = [
        {**sheet, "width_mm": chance.pick(300, 390, 600), "height_mm": chance.pick(300, 400, 800), "price": 4.5}
        for sheet in stock["sheets"]
    ]
    if chance.one() < 0.3:
        clamp = {"shape": "rectangle", "what": "clamp", "x_mm": 0, "y_mm": 0, "width_mm": 30, "height_mm": 20}
        knot = {"shape": "circle", "what": "knot", "x_mm": 150, "y_mm": 140, "diameter_mm": 15}
        sheets[0]["keep_out"] = [clamp, knot]
    if chance.one() < 0.3:
        corner = [[0, 0], [380, 0], [380, 160], [190, 350], [0, 350]]
        sheets.append({"outline_mm": corner, "count": 2, **{k: v for k, v in sheets[0].items() if "measured" in k}})
    stock = {**stock, "sheets": sheets, "turns": chance.pick("quarter", "quarter", "any")}
    if chance.one() < 0.3:
        stock["grain"] = chance.pick("x", "y")
    enclosure = {
        **data["enclosure"],
        "marks": chance.pick("none", "ids", "outlines"),
        "recess": chance.pick(True, False),
        "split": chance.pick("when-needed", "when-needed", "saves-stock", "never"),
        "seam": chance.pick("butt", "keyed"),
        "storeys": chance.pick("never", "when-needed"),
        "inset_fit": chance.pick("press", "slide", "glue"),
        "case": chance.pick("chamber-and-guide", "chamber-and-guide", "chamber-and-guide", "closed", "vented"),
        "lip_mm": chance.pick(0, 3),
    }
    if enclosure["case"] in ("closed", "vented"):
        del enclosure["guide_least_mm"]
    recipe = {
        "name": "drawn",
        "optical_power_w": 10,
        "wavelength_nm": 450,
        "material": stock["material"],
        "glue": stock["glue"],
        "thickness_mm": stock["thickness_mm"],
        "air_assist": "air_on" in machine,
        "power_percent": chance.pick(60, 100),
        "feed_mm_min": chance.pick(150, 400, 900),
        "passes": chance.pick(1, 2, 5),
        "kerf_mm": round(chance.spread(0.06, 0.45), 2),
        "pass_order": chance.pick("contour", "sheet"),
        "provenance": {"measured": True, "date": "2026-01-02", "coupon": "drawn"},
    }
    return {
        **data,
        "count": chance.pick(1, 1, 1, 2),
        "programs": chance.pick("sheet", "sheet", "piece"),
        "checks": {"field": chance.one() < 0.15},
        "enclosure": enclosure,
        "stock": stock,
        "machine": machine,
        "recipes": [recipe],
    }


def _driver(chance: Chance, frame: float) -> dict[str, Any]:
    size = frame / 75
    return {
        "name": f"Random {frame:g} mm",
        "fs_hz": round(chance.between(0.8, 1.25) * 105 / size**0.7, 1),
        "qms": round(chance.between(2.5, 5), 2),
        "qes": round(chance.between(0.45, 1.0), 2),
        "vas_l": round(chance.between(0.6, 1.5) * size**3.5, 3),
        "sd_cm2": round(math.pi / 4 * (0.071 * frame) ** 2, 1),
        "re_ohm": chance.pick(3.6, 6.5),
        "xmax_mm": round(chance.between(1.5, 4.5), 1),
        "power_w": 10,
        "frame_mm": frame,
        "cutout_mm": round(0.81 * frame, 1),
        "bolt_circle_mm": round(0.905 * frame, 1),
        "depth_mm": round(chance.between(0.42, 0.62) * frame + 4, 1),
        "magnet_mm": round(0.6 * frame, 1),
        "displacement_cm3": round(30 * size**3, 1),
    }


def _stock(chance: Chance, sheet: float) -> dict[str, Any]:
    return {
        "name": f"Plywood {sheet:g}",
        "material": "birch-plywood",
        "glue": "uf",
        "thickness_mm": sheet,
        "measured_mm": [round(sheet * chance.between(0.96, 1.02), 2) for _ in range(3)],
        "density_kg_m3": 650,
        "sheets": [{"width_mm": 600, "height_mm": 600, "count": 100}],
    }


def _plan(chance: Chance, shape: str, area: float) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return a plan of about an area in mm2, and the names of its faces."""
    four = ("front", "right", "back", "left")
    aspect = chance.spread(0.6, 1.6)
    width = min(max(math.sqrt(area / aspect), 31.0), 1400.0)
    depth = min(max(area / width, 31.0), 1400.0)
    if shape == "rectangle":
        return {"shape": shape, "width_mm": round(width, 1), "depth_mm": round(depth, 1)}, four
    if shape == "trapezoid":
        lean = chance.between(-0.2, 0.2) * width
        front, back = round(width + lean, 1), round(width - lean, 1)
        return {"shape": shape, "front_mm": front, "back_mm": back, "depth_mm": round(depth, 1)}, four
    if shape == "regular polygon":
        corners = chance.pick(3, 5, 6, 8, 12)
        radius = math.sqrt(2 * area / (corners * math.sin(math.tau / corners)))
        at = [math.tau * (i - 0.5) / corners - math.pi / 2 for i in range(corners)]
        points = [(radius * math.cos(a), radius * math.sin(a)) for a in at]
    else:  # a star-shaped ring about the middle, with reflex corners
        corners = chance.pick(5, 6, 7, 9)
        radius = math.sqrt(area / math.pi) * 1.1
        at = [math.tau * (i - 0.5 + chance.between(-0.25, 0.25)) / corners - math.pi / 2 for i in range(corners)]
        far = [radius * chance.between(0.72, 1.2) for _ in at]
        points = [(r * math.cos(a), r * math.sin(a)) for r, a in zip(far, at, strict=True)]
    faces = ("front", *(f"face-{i}" for i in range(2, corners + 1)))
    return {
        "shape": "polygon",
        "points_mm": [[round(x, 1), round(y, 1)] for x, y in points],
        "faces": list(faces),
    }, faces
