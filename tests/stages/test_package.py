"""The demo package as an outsider reads it: only from its files, never from the values they were written from."""

from __future__ import annotations

import csv
import hashlib
import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

from rs274 import interpret


@pytest.fixture(scope="module")
def report(demo_package: Path) -> dict:
    return json.loads((demo_package / "report.json").read_text("utf-8"))


def polygon(piece: dict) -> Polygon:
    return Polygon(piece["outline"], piece["holes"])


def placed(piece: dict) -> Polygon:
    """Flip, then turn about the origin, then move: the package contract."""
    where, shape = piece["placement"], polygon(piece)
    if where["flipped"]:
        shape = affinity.scale(shape, -1, 1, origin=(0, 0))
    return affinity.translate(affinity.rotate(shape, where["turn_deg"], origin=(0, 0)), where["x_mm"], where["y_mm"])


def test_the_manifest_lists_every_file(demo_package):
    listed = json.loads((demo_package / "manifest.json").read_text("utf-8"))["files"]
    there = {p.relative_to(demo_package).as_posix() for p in demo_package.rglob("*") if p.is_file()}
    assert there == {"manifest.json", *listed}
    for name, entry in listed.items():
        data = (demo_package / name).read_bytes()
        assert (hashlib.sha256(data).hexdigest(), len(data)) == (entry["sha256"], entry["size"])


def test_everything_of_the_contract_is_there(demo_package, report):
    sheets = len(report["nest"]["sheets"])
    for number in range(1, sheets + 1):
        assert (demo_package / f"sheets/sheet-{number:02d}.svg").is_file()
        assert (demo_package / f"gcode/sheet-{number:02d}.nc").is_file()
    coupons = sorted(p.stem for p in (demo_package / "gcode").glob("coupon-*.nc"))
    assert coupons and coupons == sorted(p.stem for p in (demo_package / "sheets").glob("coupon-*.svg"))
    for key in (
        "format",
        "name",
        "spec_sha256",
        "version",
        "machine",
        "recipe",
        "recipes",
        "acoustics",
        "layers",
        "openings",
        "pieces",
        "nest",
        "cut",
        "checks",
        "safety",
    ):
        assert key in report
    assert list(report) == sorted(report)


def test_what_the_guide_is_for(report):
    """As built, at the same drive: the cone moves less than in the closed box of the same size all the way from 70 to
    200 Hz, the body is at least 2 dB louder at 70 Hz, and 100 to 700 Hz spans no more than 9 dB."""
    mine, closed = report["acoustics"]["response"], report["acoustics"]["closed_same_size"]["response"]
    f = np.array(mine["frequency_hz"])
    assert closed["frequency_hz"] == mine["frequency_hz"]
    low = (f >= 70) & (f <= 200)
    assert (np.array(mine["excursion_peak_mm"])[low] < np.array(closed["excursion_peak_mm"])[low]).all()
    gain = np.interp(70, f, mine["spl_db"]) - np.interp(70, f, closed["spl_db"])
    assert gain >= 2.0
    band = np.array(mine["spl_db"])[(f >= 100) & (f <= 700)]
    assert band.max() - band.min() <= 9.0
    assert not [c for c in report["checks"] if c["level"] == "fail"]


def test_the_closed_box_is_the_same_outside(report):
    """Its air is the body's: chamber, guide and the wood between them."""
    acoustics = report["acoustics"]
    guide = sum(s["length_m"] * (s["area_in_m2"] + s["area_out_m2"]) / 2 for s in acoustics["network"]["guide"])
    inside = acoustics["network"]["chamber_m3"] + guide
    plan = Polygon(report["body"]["plan"])
    outside = plan.area * report["body"]["height_mm"] * 1e-9
    assert inside < acoustics["closed_same_size"]["chamber_m3"] < outside


def test_pieces_do_not_meet_and_lie_in_their_sheets(report):
    sheets = {s["number"]: s for s in report["nest"]["sheets"]}
    spacing = 2.0  # of the demo's stock
    by_sheet: dict[int, list[Polygon]] = {}
    for piece in report["pieces"]:
        sheet, shape = sheets[piece["placement"]["sheet"]], placed(piece)
        room = box(0, 0, sheet["width_mm"], sheet["height_mm"]).buffer(-sheet["margin_mm"] + 1e-6, join_style="mitre")
        assert room.covers(shape), piece["id"]
        by_sheet.setdefault(sheet["number"], []).append(shape)
    for shapes in by_sheet.values():
        for a, b in itertools.combinations(shapes, 2):
            assert a.distance(b) >= spacing - 2e-3


def test_pieces_rebuild_the_layers(report):
    """The pieces of a layer make up its plan less all air that crosses it."""
    plan = Polygon(report["body"]["plan"])
    by_id = {p["id"]: p for p in report["pieces"]}
    for layer in report["layers"]:
        low, high = layer["z_mm"], layer["z_mm"] + layer["thickness_mm"]
        air = unary_union(
            [
                Polygon(p["outline"], p["holes"])
                for p in report["body"]["air"]
                if min(high, p["to_z_mm"]) - max(low, p["from_z_mm"]) > 1e-6
            ]
        )
        wood = unary_union([polygon(by_id[name]) for name in layer["pieces"]])
        assert wood.symmetric_difference(plan.difference(air)).area < 0.05
        assert all(by_id[name]["layer"] == layer["index"] for name in layer["pieces"])
    heights = [layer["z_mm"] for layer in report["layers"]] + [report["body"]["height_mm"]]
    for a, b, layer in zip(heights, heights[1:], report["layers"], strict=False):
        assert b - a == pytest.approx(layer["thickness_mm"], abs=1e-6)


def test_the_programs_cut_these_pieces(demo_package, report):
    """Read back by an interpreter of its own, the beam's path takes half a kerf around every piece, and no more."""
    half = report["recipe"]["kerf_mm"] / 2
    for sheet in report["nest"]["sheets"]:
        text = (demo_package / f"gcode/sheet-{sheet['number']:02d}.nc").read_text("ascii")
        result = interpret(text)
        # Every stretch once: a line that goes round eight times over is no fit input for a buffer.
        scored = 0.5 * report["recipe"]["power_percent"] / 100 * max(s.power for s in result.strokes)
        once = {tuple(sorted(pair)) for line in result.burns(scored) for pair in itertools.pairwise(line)}
        kerf = unary_union([LineString(pair) for pair in sorted(once) if pair[0] != pair[1]]).buffer(half, quad_segs=8)
        width, height = report["machine"]["bed_mm"]
        assert box(0, 0, width, height).covers(kerf)
        for piece in report["pieces"]:
            if piece["placement"]["sheet"] == sheet["number"]:
                shape = placed(piece)
                assert shape.intersection(kerf).area < 0.02 * shape.length, piece["id"]
                rim = shape.boundary.buffer(0.05).difference(shape)
                assert rim.difference(kerf).area < 0.01 * rim.area, piece["id"]


def test_openings_lie_in_the_outside(report):
    plan = Polygon(report["body"]["plan"])
    for opening in report["openings"]:
        x, y, z = opening["centre_mm"]
        assert plan.boundary.distance(affinity.translate(LineString([(0, 0), (0, 1e-9)]), x, y)) < 1e-3
        assert 0 <= z <= report["body"]["height_mm"]
        assert math.hypot(*opening["normal"]) == pytest.approx(1.0)
        if opening.get("diameter_mm"):
            assert opening["area_mm2"] == pytest.approx(math.pi / 4 * opening["diameter_mm"] ** 2)
        else:
            assert opening["area_mm2"] == pytest.approx(opening["width_mm"] * opening["height_mm"])


def test_the_bill_adds_up_to_the_sheets_and_pieces(demo_package, report):
    text = (demo_package / "bom.csv").read_text("utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert not [cell for row in rows for cell in row.values() if cell and cell[0] in "=+-@\t\r"]
    sheets = sum(float(row["quantity"]) for row in rows if row["unit"] == "sheets")
    assert sheets == len(report["nest"]["sheets"])
    wood = sum(polygon(p).area for p in report["pieces"])
    whole = sum(s["width_mm"] * s["height_mm"] for s in report["nest"]["sheets"])
    assert report["nest"]["utilisation"] == pytest.approx(wood / whole, rel=1e-3)


def test_time_is_at_least_length_over_feed(report):
    least = report["cut"]["length_mm"] / report["recipe"]["feed_mm_min"] * 60
    assert least < report["cut"]["time_s"] < 1.1 * least + 60 * len(report["cut"]["programs"])


def test_every_safety_line_says_where_it_comes_from(report):
    assert report["safety"]
    for line in report["safety"]:
        assert line["source"] and line["text"] and line["status"], line["id"]
        assert line["level"] in ("stop", "fix-first", "duty", "note")
