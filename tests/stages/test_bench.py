"""The bill adds up to the pieces and sheets of the report, and the guide says what the bench needs to know."""

import csv
import io
import itertools
import json
import math
import re

import pytest
from html5lib import HTMLParser
from shapely.geometry import Polygon
from shapely.ops import unary_union

H = "{http://www.w3.org/1999/xhtml}"


@pytest.fixture(scope="module")
def report(demo_package):
    return json.loads((demo_package / "report.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def bill(demo_package):
    return list(csv.DictReader(io.StringIO((demo_package / "bom.csv").read_text("utf-8"))))


@pytest.fixture(scope="module")
def guide(demo_package):
    return HTMLParser(strict=True).parse((demo_package / "guide.html").read_text("utf-8"))


def row(bill, begins):
    (found,) = [line for line in bill if line["item"].startswith(begins)]
    return found


def part(guide, name):
    return next(e for e in guide.iter(f"{H}section") if e.get("id") == name)


def text(element):
    return re.sub(r"\s+", " ", "".join(element.itertext())).strip()


def test_sheets_and_their_mass(bill, report):
    sheets = report["nest"]["sheets"]
    line = row(bill, "Birch plywood")
    assert float(line["quantity"]) == len(sheets)
    volume = sum(s["width_mm"] * s["height_mm"] for s in sheets) * report["stock"]["measured_mm"]
    pieces = sum(p["mass_g"] for p in report["pieces"])
    used = sum(s["pieces_area_mm2"] for s in sheets) / sum(s["width_mm"] * s["height_mm"] for s in sheets)
    assert float(line["mass_g"]) == pytest.approx(volume * pieces / (volume * used), rel=1e-3)
    assert line["note"] == f"{100 * used:.0f} % becomes pieces"
    assert line["used_in"] == ", ".join(f"sheet-{s['number']:02d}" for s in sheets)
    assert sorted(p["placement"]["sheet"] for p in report["pieces"])[-1] == len(sheets)


def test_glue_by_the_area_of_the_joints(bill, report):
    shapes = {p["id"]: Polygon(p["outline"], p["holes"]) for p in report["pieces"]}
    layers = [unary_union([shapes[name] for name in layer["pieces"]]) for layer in report["layers"]]
    between = sum(a.intersection(b).area for a, b in itertools.pairwise(layers))
    line = row(bill, "Wood glue")
    told = float(re.match(r"(\d+) cm2", line["note"])[1])
    assert between / 100 < told < 1.05 * between / 100  # the insets' seats come on top
    assert float(line["quantity"]) == pytest.approx(told * 1e-4 * 150, abs=0.02)
    assert float(line["mass_g"]) == pytest.approx(float(line["quantity"]), abs=0.06)


def test_dowels_screws_wire_and_gasket(bill, report):
    holes = [p for p in report["body"]["air"] if p["kind"] == "dowel"]
    line = row(bill, "Dowel")
    assert float(line["quantity"]) == pytest.approx(sum(h["to_z_mm"] - h["from_z_mm"] for h in holes), abs=0.1)
    assert float(line["mass_g"]) == pytest.approx(math.pi / 4 * 0.3**2 * float(line["quantity"]) / 10 * 0.7, abs=0.06)
    length = float(re.fullmatch(r"\d+ of ([\d.]+) mm", line["note"])[1])  # longer than its hole, it holds the lid up
    assert length == pytest.approx(holes[0]["to_z_mm"] - holes[0]["from_z_mm"], abs=0.05)
    assert float(row(bill, "Wood screw")["quantity"]) == 4
    ends = {o["kind"]: o["centre_mm"] for o in report["openings"]}
    assert float(row(bill, "Two-core")["quantity"]) > math.dist(ends["driver"], ends["terminal"])
    assert float(row(bill, "Gasket")["quantity"]) == math.ceil(math.pi * 67)


def test_current_lens_and_filter_cost_their_share(bill, report, demo_spec):
    machine, cut = demo_spec.machine, report["cut"]
    current, lens, smoke = (row(bill, name) for name in ("Electricity", "Lens", "Fume filter"))
    assert float(current["quantity"]) == pytest.approx(machine.electric_w * cut["time_s"] / 3.6e6, abs=0.01)
    assert float(current["price"]) == pytest.approx(0.3 * cut["electric_kwh"], abs=0.01)
    assert float(lens["quantity"]) == pytest.approx(cut["beam_h"], abs=0.01)
    assert float(lens["price"]) == pytest.approx(9 * cut["beam_h"] / 400, abs=0.01)
    assert float(smoke["price"]) == pytest.approx(24 * cut["time_s"] / 3600 / 120, abs=0.01)
    assert (
        smoke["note"] == f"{60 + cut['time_s'] / 3600:.0f} h since it was changed when the job is done, one lasts 120 h"
    )


def test_every_line_says_where_it_is_used_and_no_cell_is_a_formula(bill, guide):
    assert all(line["used_in"] and line["unit"] and float(line["quantity"]) > 0 for line in bill)
    assert not [cell for line in bill for cell in line.values() if re.match(r"\s*[=+\-@]", cell)]
    priced = [float(line["price"]) for line in bill if line["price"]]
    assert f"{len(priced)} priced lines come to {sum(priced):.2f}" in text(part(guide, "bill"))


def test_test_cuts_have_a_table_to_fill_in(guide):
    tables = list(part(guide, "prove").iter(f"{H}table"))
    heads = [[text(th) for th in t.iter(f"{H}th") if th.get("scope") == "col"] for t in tables]
    assert heads == [["ticks", "passes", "fell out?"], ["gap, mm", "kerf, mm"]]
    gaps = [[float(text(cell)) for cell in line] for line in tables[1].find(f"{H}tbody")]
    assert [2.42, 0.22] in gaps and all(gap == pytest.approx(11 * kerf) for gap, kerf in gaps)


def test_each_sheet_has_its_restart_points(guide, report):
    folded = list(part(guide, "cut").iter(f"{H}details"))
    assert len(folded) == len(report["cut"]["restarts"]) == len(report["nest"]["sheets"])
    for details, program in zip(folded, report["cut"]["restarts"], strict=True):
        lines = [[text(cell) for cell in line] for line in details.iter(f"{H}tr")][1:]
        assert [(int(n), piece, int(line)) for n, piece, _, line, _ in lines] == [
            (p["number"], p["piece"], p["line"]) for p in program["points"]
        ]
        assert f"kerfwave resume out/listening-post {program['program']} ROW" in text(details)


def test_glue_dowels_and_measuring_are_said(guide, report):
    glue = text(part(guide, "glue"))
    assert glue.count("Joint with the layer below") == len(report["layers"]) - 1
    holes = [p for p in report["body"]["air"] if p["kind"] == "dowel"]
    length = holes[0]["to_z_mm"] - holes[0]["from_z_mm"]
    layers = [
        layer["index"]
        for layer in report["layers"]
        if holes[0]["from_z_mm"] < layer["z_mm"] + layer["thickness_mm"] / 2 < holes[0]["to_z_mm"]
    ]
    told = re.search(
        r"Cut (\d+) dowels of ([\d.]+) mm, 3 mm across, to stand in the holes of layers (\d+) to (\d+)", glue
    )
    assert told and int(told[1]) == len(holes) and float(told[2]) == pytest.approx(length, abs=0.05)
    assert (int(told[3]), int(told[4])) == (layers[0], layers[-1])
    assert "Draw them out before the board goes on" in glue and f"From layer {layers[-1]} on they stay in" in glue
    typed = [text(code) for code in part(guide, "measure").iter(f"{H}code")]
    for command in ("sweep write", "sweep read", "promise", "fit", "learn recipe", "learn measured"):
        assert any(line.startswith(f"kerfwave {command}") for line in typed), command


def test_every_curve_is_also_a_table(guide):
    charts = [d for d in part(guide, "measure").iter(f"{H}div") if d.get("class") == "step chart"]
    titles = {text(d.find(f"{H}h3")): d.find(f".//{H}table") is not None for d in charts}
    wanted = ("Sound pressure level", "Excursion of the cone", "Electrical impedance", "Group delay", "Greatest level")
    assert all(titles[title] for title in (*wanted, "From build to build"))
    assert all(there for title, there in titles.items() if not title.startswith("Pressure at "))
