"""Ten kinds of change, each made to a spec, built and told apart by the command: does it say the right thing?

The spec is small, so that a build takes a few seconds, and all builds share one cache, as a maker's would.
"""

from __future__ import annotations

import json
import shutil
from types import SimpleNamespace

import pytest

from conftest import DEMO
from kerfwave.cli import main
from kerfwave.compare.reach import PARTS
from kerfwave.stages import STAGES
from markup import check_html

SPEC = """\
format: 1
name: Window sill speaker
notes: An invented small speaker.
driver: drivers/invented-57-wideband.yaml
drive: {volts: 1.6}
listening: {distance_m: 1, space: full, hours_per_day: 2, days_per_week: 5}
target:
  band_from_hz: 150
  band_to_hz: 700
  level_db: 66
  ripple_db: 14
  relief_from_hz: 110
  relief_to_hz: 200
  relief_least_db: 0
enclosure:
  plan: {shape: rectangle, width_mm: 150, depth_mm: 130}
  height_mm: 84
  wall_mm: 6
  mouth_face: front
checks: {field: false}
stock:
  name: Invented birch plywood, 8 mm
  material: birch-plywood
  glue: muf
  thickness_mm: 8
  measured_mm: [8.0, 8.0, 8.06]
  density_kg_m3: 700
  spacing_mm: 2
  sheets: [{width_mm: 600, height_mm: 380, count: 6, price: 9}]
machine: machines/open-frame-5w5.yaml
recipes: [recipes/birch-8.yaml]
room:
  width_m: 3.6
  depth_m: 4.2
  height_m: 2.5
  air_changes_per_h: 0.5
  extraction: {flow_m3_h: 220, capture: enclosure, outdoors: true, open_area_cm2: 250, duct_mm: 100, duct_length_m: 3}
  bystander_m: 8
  eyewear: {from_nm: 440, to_nm: 460, optical_density: 6, lb: 6}
  extinguisher: abc-powder
  smoke_alarm: true
  open_flued_appliance: false
"""
RECIPE = """\
entries:
  - name: birch 8 mm
    optical_power_w: 5.5
    wavelength_nm: 450
    material: birch-plywood
    glue: muf
    thickness_mm: 8
    air_assist: true
    power_percent: 100
    feed_mm_min: 220
    passes: 9
    kerf_mm: 0.22
    provenance: {measured: true, date: "2026-05-02", coupon: coupon-passes, by: nobody, note: invented}
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Return a folder with the shelf and the spec, and where all builds go."""
    home = tmp_path_factory.mktemp("shop")
    shutil.copytree(DEMO.parent, home / "specs", ignore=shutil.ignore_patterns("*-speaker.yaml", "listening-*"))
    (home / "specs/recipes/birch-8.yaml").write_text(RECIPE, "utf-8")
    machine = home / "specs/machines/open-frame-5w5.yaml"
    machine.write_text(machine.read_text("utf-8").replace("bed_mm: [400, 400]", "bed_mm: [610, 400]"), "utf-8")
    (home / "specs/base.yaml").write_text(SPEC, "utf-8")
    return home


@pytest.fixture
def told(shop, capsys):
    """Return a function that changes one thing, compares, and returns what was said as data and as text."""

    def tell(old, new, file="base.yaml", status=1):
        for sub in ("drivers", "machines", "recipes", "stock"):
            shutil.copytree(shop / "specs" / sub, shop / "changed" / sub, dirs_exist_ok=True)
        shutil.copy(shop / "specs/base.yaml", shop / "changed/base.yaml")
        path = shop / "changed" / file
        text = path.read_text("utf-8")
        assert text.count(old) == 1
        path.write_text(text.replace(old, new), "utf-8")
        words = ["compare", str(shop / "specs/base.yaml"), str(shop / "changed/base.yaml"), "--out", str(shop / "out")]
        assert main([*words, "--json"]) == status
        data = json.loads(capsys.readouterr().out)
        assert main(words) == status
        reached = {one["stage"]: one["word"] for one in data["reached"]}
        return SimpleNamespace(
            text=capsys.readouterr().out,
            spec=[(c["path"], c["a"], c["b"]) for c in data["spec_changes"]],
            changed={stage for stage, word in reached.items() if word == "changed"},
            same={stage for stage, word in reached.items() if word == "same outcome"},
            numbers={n["name"]: n for n in data["numbers"]},
            words={n["name"]: n["word"] for n in data["numbers"]},
            pieces=[(p["id"], p["kind"]) for p in data["pieces"]],
            sheets=[s["word"] for s in data["sheets"]],
            safety={(c["id"], c["a"], c["b"], c["word"]) for c in data["safety"]},
            data=data,
        )

    return tell


def test_the_title(told):
    found = told("Window sill speaker", "Window seat speaker")
    assert found.spec == [("name", "Window sill speaker", "Window seat speaker")]
    assert not (found.changed or found.same or found.numbers or found.pieces or found.safety)
    assert found.sheets == ["usable"] and found.data["to_cut"] == []
    assert found.text.startswith("Window sill speaker -> Window seat speaker (the specs differ in 1 value)\n")


def test_the_driver(told):
    found = told("fs_hz: 125", "fs_hz: 118", "drivers/invented-57-wideband.yaml")
    assert found.spec == [("driver.fs_hz", 125, 118)]
    assert "(the specs differ in 1 value)" in found.text  # on the shelf, not in the spec's own file
    assert {"sizing", "body", "response", "listening", "spread"} <= found.changed
    assert "slices" in found.same and not found.changed & {"slices", "nest", "paths"}
    assert found.words["bass corner (-6 dB)"] == "deeper"
    assert found.words["mean level, 100 to 700 Hz"] == "quieter"
    assert not found.pieces and found.sheets == ["usable"]


def test_the_wall(told):
    found = told("wall_mm: 6", "wall_mm: 7")
    assert found.spec == [("enclosure.wall_mm", 6, 7)]
    assert {"body", "slices", "nest", "paths"} <= found.changed and "recipe" not in found.changed | found.same
    assert found.words["chamber"] == "smaller" and found.words["wood in the pieces"] == "heavier"
    assert {kind for _, kind in found.pieces} == {"changed"}
    floor = [line for line in found.text.splitlines() if "changed  L01 " in line]  # at most what is scored on it
    assert not [line for line in floor if "lines moved" in line]
    assert found.sheets == ["in part"]
    (sheet,) = found.data["sheets"]
    assert {"L01", "L10", "R1", "T1"} == {p["id"] for p in sheet["pieces"] if p["serves_as"] is not None}
    assert found.data["to_cut"] == [p["id"] for p in sheet["pieces"] if p["serves_as"] is None]
    assert "keep L01, L10, R1, T1; not L02a, " in found.text and "(lines moved up to 1 mm)" in found.text


def test_the_sheet_that_is_thinner_than_thought(told):
    found = told("measured_mm: [8.0, 8.0, 8.06]", "measured_mm: [7.8, 7.8, 7.86]")
    assert found.words["stack"] == "lower" and found.numbers["stack"]["b"] == pytest.approx(10 * 7.82)
    assert found.words["wood in the pieces"] == "lighter" and found.words["chamber"] == "smaller"
    assert found.sheets == ["not usable"] and "none (thickness 8.02 -> 7.82 mm)" in found.text
    assert len(found.data["to_cut"]) == len(found.pieces) == 22


def test_the_recipe(told):
    found = told("kerf_mm: 0.22", "kerf_mm: 0.2", "recipes/birch-8.yaml")
    assert found.spec == [("recipes.birch 8 mm.kerf_mm", 0.22, 0.2)]
    assert {"recipe", "paths"} <= found.changed and not found.changed & {"body", "slices", "nest"}
    assert found.words["kerf"] == "narrower" and found.words["cut length"] == "shorter"
    assert (
        found.sheets == ["usable"] and "pieces already cut keep the size that their real kerf gave them" in found.text
    )


def test_the_machine(told):
    found = told("rapid_feed_mm_min: 6000", "rapid_feed_mm_min: 3000", "machines/open-frame-5w5.yaml")
    assert found.spec == [("machine.rapid_feed_mm_min", 6000, 3000)]
    assert {"paths", "safety"} <= found.changed <= {"paths", "safety", "programs"}  # the list counts the hours
    assert found.words == {"machine time": "longer"}
    assert found.sheets == ["usable"]


def test_the_room(told):
    found = told("extinguisher: abc-powder", "extinguisher: none")
    assert {"safety"} <= found.changed <= {"safety", "programs"} and not found.numbers
    assert {("fire-extinguisher", "duty", "fix-first", "worse"), ("outcome", "proceed", "fix-first", "worse")} <= (
        found.safety
    )
    assert "worse  outcome            proceed -> fix-first" in found.text


def test_the_target(told):
    found = told("ripple_db: 14", "ripple_db: 13")
    assert found.spec == [("target.ripple_db", 14, 13)]
    assert found.changed == {"response"} and {"sizing", "spread"} <= found.same  # the same design wins
    assert not (found.numbers or found.pieces) and found.sheets == ["usable"]


def test_the_face_of_the_mouth(told):
    found = told("mouth_face: front", "mouth_face: left")
    assert found.spec == [("enclosure.mouth_face", "front", "left")]
    assert {"sizing", "body", "slices", "nest", "paths"} <= found.changed
    assert found.words["guide length"] == "shorter" and found.words["mouth"] == "larger"
    assert found.words["greatest level at 100 Hz"] == "goes louder"
    assert found.sheets == ["in part"] and "L01" not in found.data["to_cut"]


def test_the_sheets_on_the_shelf(told):
    found = told("width_mm: 600, height_mm: 380", "width_mm: 400, height_mm: 380")
    follow = {"supply", "blanks", "nest", "breakdown", "routes", "paths", "safety", "drawings", "sheets", "proof"}
    follow |= {"programs"}
    assert {"blanks", "nest", "paths"} <= found.changed <= follow and "slices" in found.same
    assert found.words["sheets"] == "more sheets" and found.words["sheet in use"] == "emptier"
    assert found.pieces == [] and found.data["placed_elsewhere"] > 10
    assert found.sheets == ["usable"]


def test_two_packages(shop, capsys):
    """Packages hold no spec to read, but their reports tell of every stage."""
    before, after = str(shop / "before"), str(shop / "after")
    text = (shop / "specs/base.yaml").read_text("utf-8")
    (shop / "specs/seven.yaml").write_text(text.replace("wall_mm: 6", "wall_mm: 7"), "utf-8")
    for spec, out in (("base", before), ("seven", after)):
        shutil.copytree(shop / "out/.cache", f"{out}/.cache")
        assert main(["build", str(shop / f"specs/{spec}.yaml"), "--out", out]) == 0
    capsys.readouterr()
    a, b = f"{before}/base", f"{after}/seven"
    assert main(["compare", a, a]) == 0 and "no difference" in capsys.readouterr().out
    assert main(["compare", a, b, "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["spec_changes"] is None and not told["same_spec"]
    reached = {one["stage"] for one in told["reached"]}
    assert {"sizing", "body", "response", "listening", "spread", "slices", "nest", "paths", "safety"} <= reached
    assert "learned" not in reached and "recipe" not in reached
    assert main(["compare", a, f"{after}/none"]) == 2
    page = shop / "page.html"
    assert main(["compare", a, b, "--format", "html", "-o", str(page)]) == 1
    check_html(page.read_text("utf-8"))


def test_every_stage_can_be_told_from_two_reports():
    """But for those whose outcome a report does not hold by itself: checks, what the nest keeps to, routes, files."""
    untold = {"rules", "spacing", "blanks", "routes", "drawings", "sheets", "charts", "trials", "coupons"}
    untold |= {"proof", "programs", "pages", "package"}
    assert [name for name, _ in PARTS] == [stage.name for stage in STAGES if stage.name not in untold]
