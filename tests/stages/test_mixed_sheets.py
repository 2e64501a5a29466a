"""A body from sheets of several thicknesses, whole: the example of docs/sheets.md put into a demo."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
import yaml

from kerfwave.cli import main

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def package(tmp_path_factory) -> Path:
    """Return the package of the smaller demo with the example's sheets, without the field."""
    home = tmp_path_factory.mktemp("mixed")
    spec = yaml.safe_load((ROOT / "specs" / "desk-speaker.yaml").read_text("utf-8"))
    example = re.search(r"```yaml\n(.*?)```", (ROOT / "docs" / "sheets.md").read_text("utf-8"), re.DOTALL)
    asked = yaml.safe_load(example[1])
    for key in ("driver", "machine"):
        spec[key] = yaml.safe_load((ROOT / "specs" / spec[key]).read_text("utf-8"))
    del spec["driver"]["response_file"]
    spec |= {"stock": asked["stock"], "recipes": [], "checks": {"field": False}}
    spec["enclosure"] |= asked["enclosure"]
    (home / "mixed.yaml").write_text(yaml.safe_dump(spec, sort_keys=False), "utf-8")
    assert main(["build", str(home / "mixed.yaml"), "--out", str(home / "out")]) == 0
    return home / "out" / "mixed"


@pytest.fixture(scope="module")
def report(package) -> dict:
    return json.loads((package / "report.json").read_text("utf-8"))


def test_heights_add_up_and_layers_come_as_the_page_says(report):
    z = 0
    for layer in report["layers"]:
        assert round(1000 * layer["z_mm"]) == z
        z += round(1000 * layer["thickness_mm"])
    assert round(1000 * report["body"]["height_mm"]) == z
    thick = [layer["thickness_mm"] for layer in report["layers"]]
    rings = thick[1:-1]
    assert thick[0] == thick[-1] == 6.12
    assert rings == sorted(rings) and set(rings) == {3.9, 4.0, 4.15}
    assert rings.count(4.0) == 4
    prisms = {value for p in report["body"]["air"] for value in (p["from_z_mm"], p["to_z_mm"])}
    assert prisms <= {*(layer["z_mm"] for layer in report["layers"]), report["body"]["height_mm"]}


def test_a_piece_lies_on_a_sheet_of_its_own_thickness_and_every_sheet_has_its_recipe(package, report):
    sheets = {sheet["number"]: sheet for sheet in report["nest"]["sheets"]}
    assert sorted(sheets) == list(range(1, len(sheets) + 1))
    assert all(p["thickness_mm"] == sheets[p["placement"]["sheet"]]["thickness_mm"] for p in report["pieces"])
    assert {p["thickness_mm"] for p in report["pieces"] if p["layer"] is None} == {3.9}
    recipes = {recipe["stock"]: recipe for recipe in report["recipes"]}
    assert len(recipes) == len(report["stock"]["kinds"]) == 4
    for number, sheet in sheets.items():
        name = f"Poplar plywood, measured {sheet['thickness_mm']:g} mm"
        text = (package / "gcode" / f"sheet-{number:02d}.nc").read_text("ascii")
        assert f"stock {name}" in text.splitlines()[0]
        feeds = {float(f) for f in re.findall(r"F([\d.]+)", text)}
        assert recipes[name]["feed_mm_min"] in feeds
        assert name in (package / "sheets" / f"sheet-{number:02d}.svg").read_text("utf-8")
    # Test cuts for each label, of its thickest sheets.
    made = {kind["measured_mm"]: kind["coupons"] for kind in report["stock"]["kinds"]}
    assert made == {
        3.9: [],
        4.0: [],
        4.15: ["coupon-passes", "coupon-kerf"],
        6.12: ["coupon-passes-2", "coupon-kerf-2"],
    }


def test_bill_and_guide_say_which_sheet_is_taken(package, report):
    rows = list(csv.DictReader((package / "bom.csv").read_text("utf-8").splitlines()))
    taken = sorted(row["item"].split(" x ")[-1] for row in rows if row["unit"] == "sheets")
    assert taken == ["3.9 mm", "4 mm", "4.15 mm", "6.12 mm"]
    guide = (package / "guide.html").read_text("utf-8")
    sheets = {p["id"]: p["placement"]["sheet"] for p in report["pieces"]}
    for layer in report["layers"]:
        for name in layer["pieces"]:
            sheet = rf"sheet-{sheets[name]:02d} \({layer['thickness_mm']:g} mm\)"
            assert re.search(rf"{name}[^.;]* from {sheet}", guide), name
    assert "What the sheets&#39; thickness does to the tuning" in guide


def test_the_tuning_is_told_for_thin_and_thick_sheets(report):
    told = report["acoustics"]["thickness"]
    names = [case["name"] for case in told["cases"]]
    assert names == ["as measured", "thinnest", "thickest", "as on the label"]
    own, thin, thick, label = told["cases"]
    assert own["stretch"] == 1.0 and own["response_db"] == 0.0
    assert own["chamber_m3"] == pytest.approx(report["acoustics"]["network"]["chamber_m3"], rel=1e-6)
    assert thin["chamber_m3"] < own["chamber_m3"] < thick["chamber_m3"]
    assert thin["stretch"] < 1.0 < thick["stretch"]
    assert label["stretch"] == pytest.approx(4.0 * sum(1 for x in report["layers"][1:-1]) / told["inside_mm"][0])
    assert {kind["source"] for kind in told["kinds"]} == {"measured"}
    assert sum(kind["layers"] for kind in told["kinds"]) == len(report["layers"])
    # Chamber and guide grow together: the resonance moves by far less than the volume.
    grown = thick["chamber_m3"] / thin["chamber_m3"] - 1.0
    assert abs(thick["tuning_hz"] / thin["tuning_hz"] - 1.0) < 0.3 * grown


def test_a_recipe_is_learnt_with_the_thickness_of_its_test_cut(package, tmp_path):
    file = tmp_path / "mine.yaml"
    for coupon, thick in (("coupon-kerf", 4.15), ("coupon-kerf-2", 6.12)):
        words = [
            "--name",
            coupon,
            "--package",
            str(package),
            "--coupon",
            coupon,
            "--date",
            "2026-05-02",
            "--gap",
            "2.2",
        ]
        assert main(["learn", "recipe", str(file), *words]) == 0
        entry = next(e for e in yaml.safe_load(file.read_text("utf-8"))["entries"] if e["name"] == coupon)
        assert entry["thickness_mm"] == thick
