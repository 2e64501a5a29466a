"""The list as a whole: order, completeness, and that nothing unknown ever passes."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.model.parts import SafetyLine
from kerfwave.model.spec import Extraction, Eyewear
from kerfwave.safety import MATERIALS, Job, assess, find, outcome
from kerfwave.safety.lines import GROUPS, LEVELS, STATUSES
from safety_samples import JOB, job

RANK = {"note": 0, "duty": 1, "fix-first": 2, "stop": 3}
UNITS = r"W/m²|W|nm|h|s|min|mm|cm²|cm|in²|in|m³/h|m/s|m|cfm|g|mg/m³|µg/m³|Pa|V|mA|%|°C|°F|dB|ft|times|days?"
UNIT = re.compile(rf"(?: to [\d.]+)? (?:{UNITS})(?![a-zA-Z])")
LABEL = re.compile(r"(?:Class|class|OD|density|LB|EN|PM|314-)\s?$")


def test_nothing_left_unsaid_proceeds() -> None:
    made = assess(JOB)
    assert outcome(made) == "proceed", [entry for entry in made if RANK[entry.level] > 1]
    assert all(entry.status != "unknown" or entry.id == "fume-left-out" for entry in made)


def test_first_line_defers() -> None:
    first = assess(JOB)[0]
    assert first.group == "general"
    for word in ("screening", "law", "fire code", "licensed", "laser safety officer", "manual"):
        assert word in first.text


def test_outcome_has_three_words() -> None:
    def lines(*levels: str) -> list[SafetyLine]:
        return [SafetyLine(f"fire-{level}", "fire", level, "") for level in levels]

    assert outcome(lines("note", "stop", "fix-first")) == "stop"
    assert outcome(lines("note", "fix-first", "duty")) == "fix-first"
    assert outcome(lines("note", "duty")) == "proceed"
    with pytest.raises(ValueError, match="nothing was assessed"):
        outcome([])


UNSAID: list[tuple[dict[str, Any], str]] = [
    ({"eyewear": None}, "eyes-eyewear"),
    ({"eyewear": Eyewear(400.0, 500.0)}, "eyes-eyewear-density"),
    ({"bystander_m": None}, "eyes-bystander"),
    ({"bed_surface": "unknown"}, "eyes-bed"),
    ({"bed_surface": "unknown"}, "fire-bed"),
    ({"extinguisher": "unknown"}, "fire-extinguisher"),
    ({"smoke_alarm": None}, "fire-alarm"),
    ({"open_flued_appliance": None}, "fume-flue"),
    ({"extraction": None}, "fume-extraction"),
    ({"extraction": None, "air_changes_per_h": None}, "fume-air-changes"),
    ({"flow_m3_h": 10.0, "air_changes_per_h": None}, "fume-air-changes"),
    ({"open_area_cm2": None}, "fume-hood"),
    ({"open_area_cm2": 0.0}, "fume-hood"),
    ({"capture": "nozzle"}, "fume-hood"),
    ({"capture": "hope"}, "fume-hood"),
    ({"duct_mm": None}, "fume-duct"),
    ({"duct_length_m": None}, "fume-pressure"),
    ({"glue": "unknown"}, "material-glue"),
    ({"glue": "none"}, "material-glue"),
    ({"glue": ""}, "material-glue"),
    ({"level_db_at_listener": None}, "sound-week"),
    ({"wavelength_nm": 1064.0}, "eyes-wavelength"),
    ({"wavelength_nm": 355.0}, "eyes-wavelength"),
    ({"wavelength_nm": 10600.0, "enclosed": True}, "eyes-wavelength"),
    ({"material": "moon rock"}, "material-sheet"),
    ({"material": ""}, "material-sheet"),
]


@pytest.mark.parametrize(("changes", "ident"), UNSAID)
def test_unknown_never_passes(changes: dict[str, Any], ident: str) -> None:
    made = assess(job(**changes))
    (entry,) = [entry for entry in made if entry.id == ident]
    assert RANK[entry.level] >= 2
    assert entry.status == "unknown"
    assert outcome(made) != "proceed"


@pytest.mark.parametrize(
    ("changes", "ident", "level"),
    [
        ({"wavelength_nm": 1064.0}, "eyes-wavelength", "stop"),
        ({"material": "cork"}, "material-sheet", "stop"),
        ({"open_flued_appliance": True}, "fume-flue", "stop"),
        ({"material": "mdf"}, "material-sheet", "fix-first"),
        ({"glue": "pf"}, "material-glue", "fix-first"),
        ({"from_nm": 500.0, "to_nm": 540.0}, "eyes-eyewear", "fix-first"),
        ({"optical_density": 4.9}, "eyes-eyewear-density", "fix-first"),
        ({"lb": 5}, "eyes-eyewear-scale", "fix-first"),
        ({"eyewear": Eyewear(440.0, 460.0, lb=4)}, "eyes-eyewear-density", "fix-first"),
        ({"bystander_m": 2.0}, "eyes-bystander", "fix-first"),
        ({"bed_surface": "bright-metal"}, "eyes-bed", "fix-first"),
        ({"bed_surface": "wood"}, "fire-bed", "fix-first"),
        ({"extinguisher": "none"}, "fire-extinguisher", "fix-first"),
        ({"extinguisher": "co2"}, "fire-extinguisher", "fix-first"),
        ({"smoke_alarm": False}, "fire-alarm", "fix-first"),
        ({"outdoors": False}, "fume-recirculating", "fix-first"),
        ({"outdoors": False}, "fume-pm25-bare", "fix-first"),
        ({"flow_m3_h": 30.0}, "fume-hood", "fix-first"),
        ({"flow_m3_h": 30.0}, "fume-pm25-extracted", "fix-first"),
        ({"flow_m3_h": 100.0, "duct_mm": 150.0}, "fume-duct", "fix-first"),
        ({"flow_m3_h": 0.0}, "fume-purge", "fix-first"),
        ({"level_db_at_listener": 100.0}, "sound-week", "fix-first"),
        ({"level_db_at_listener": 100.0}, "sound-day", "fix-first"),
        ({"drive_volts": 12.0}, "electric-driver", "fix-first"),
        ({"drive_volts": 51.0}, "electric-touch", "fix-first"),
    ],
)
def test_what_is_known_to_be_wrong(changes: dict[str, Any], ident: str, level: str) -> None:
    made = assess(job(**changes))
    (entry,) = [entry for entry in made if entry.id == ident]
    assert entry.level == level
    assert outcome(made) == level


@pytest.mark.parametrize("material", MATERIALS, ids=lambda m: m.key)
def test_every_material_stands_as_its_table_says(material: Any) -> None:
    assert find(material.key) is material
    assert material.reason
    assert material.source
    assert bool(material.find_out) == (material.standing == "doubtful")
    made = assess(job(material=material.key, glue="uf" if material.glued else "none"))
    expected = {"forbidden": "stop", "doubtful": "fix-first", "accepted": "proceed"}[material.standing]
    assert outcome(made) == expected


def test_material_keys_are_unique_and_plain() -> None:
    keys = [material.key for material in MATERIALS]
    assert len(set(keys)) == len(keys)
    assert all(re.fullmatch(r"[a-z][a-z0-9-]*", key) for key in keys)


def test_enclosed_machine_asks_for_no_eyewear_but_still_for_air_and_fire() -> None:
    bare = job(enclosed=True, eyewear=None, bystander_m=None, extraction=None, smoke_alarm=None)
    made = {entry.id: entry for entry in assess(bare)}
    assert "interlock" in made["eyes-class"].text
    assert made["eyes-eyewear"].level == "note"
    assert made["fume-extraction"].level == "fix-first"
    assert made["fire-alarm"].level == "fix-first"
    assert outcome(assess(job(enclosed=True, eyewear=None, bystander_m=None))) == "proceed"


def test_unknown_focal_ratio_makes_the_whole_room_the_zone() -> None:
    made = {entry.id: entry for entry in assess(job(focal_ratio=None, bystander_m=5.0))}
    assert "whole room" in made["eyes-direct"].text
    assert made["eyes-direct"].value == pytest.approx(JOB.room_diagonal_m, rel=1e-3)
    assert made["eyes-bystander"].level == "fix-first"


def test_text_of_a_spec_cannot_get_into_a_line() -> None:
    made = assess(job(material="<script>alert(1)</script>\n=1+1"))
    text = " ".join(entry.text for entry in made)
    assert "<" not in text
    assert "\n" not in text


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("cut_length_mm", -1.0),
        ("cut_time_s", float("nan")),
        ("cut_time_s", 0.0),
        ("drive_volts", float("inf")),
        ("driver_re_ohm", 0.0),
        ("optical_power_w", 0.0),
        ("focal_ratio", 0.0),
        ("width_m", 0.0),
        ("level_db_at_listener", float("nan")),
    ],
)
def test_numbers_that_mean_nothing_are_refused(name: str, value: float) -> None:
    with pytest.raises(ValueError, match=name.split("_")[0] if name != "width_m" else "room volume"):
        job(**{name: value})


def test_nothing_to_cut_is_still_assessed() -> None:
    made = {entry.id: entry for entry in assess(job(cut_length_mm=0.0, cut_time_s=0.0))}
    assert made["fume-wood"].value == 0.0
    assert made["fume-pm25-extracted"].value == 0.0


positive = st.floats(0.05, 40.0)
maybe = st.none() | st.booleans()
extractions = st.none() | st.builds(
    Extraction,
    flow_m3_h=st.just(0.0) | st.floats(1.0, 2000.0),  # the schema asks for 1 or more
    capture=st.sampled_from(["enclosure", "nozzle"]),
    outdoors=st.booleans(),
    nozzle_distance_mm=st.none() | st.floats(1.0, 500.0),
    open_area_cm2=st.none() | st.floats(0.0, 5000.0),
    duct_mm=st.none() | st.floats(20.0, 300.0),
    duct_length_m=st.none() | st.floats(0.0, 20.0),
)
eyewears = st.none() | st.builds(
    Eyewear,
    from_nm=st.floats(180.0, 460.0),
    to_nm=st.floats(440.0, 1200.0),
    optical_density=st.none() | st.floats(0.0, 12.0),
    lb=st.none() | st.integers(1, 10),
)
changes = st.fixed_dictionaries(
    {},
    optional={
        "optical_power_w": positive,
        "wavelength_nm": st.floats(350.0, 800.0),
        "focal_ratio": st.none() | st.floats(0.5, 50.0),
        "enclosed": st.booleans(),
        "bed_surface": st.sampled_from(["matt-steel", "bright-metal", "ceramic", "wood", "unknown"]),
        "eyewear": eyewears,
        "extraction": extractions,
        "air_changes_per_h": st.none() | st.floats(0.0, 30.0),
        "bystander_m": st.none() | st.floats(0.0, 50.0),
        "extinguisher": st.sampled_from(["water", "foam", "abc-powder", "co2", "none", "unknown"]),
        "smoke_alarm": maybe,
        "open_flued_appliance": maybe,
        "material": st.sampled_from([m.key for m in MATERIALS]) | st.text("ab \n<'é=", max_size=20),
        "glue": st.sampled_from(["uf", "muf", "pf", "none", "unknown"]),
        "level_db_at_listener": st.none() | st.floats(20.0, 130.0),
        "drive_volts": st.floats(0.0, 60.0),
        "cut_length_mm": st.floats(0.0, 1e6),
        "cut_time_s": st.floats(1.0, 1e6),
        "verified": st.booleans(),
        "air_assist": st.booleans(),
    },
)


@settings(max_examples=60)
@given(changes)
def test_every_line_is_whole(changes: dict[str, Any]) -> None:
    """Source, status, unit and order hold for any job; same job, same lines."""
    made = assess(job(**changes))
    assert made == assess(job(**changes))
    ids = [entry.id for entry in made]
    assert len(set(ids)) == len(ids)
    order = [GROUPS.index(entry.group) for entry in made]
    assert order == sorted(order)
    assert set(order) == set(range(len(GROUPS)))
    for entry in made:
        assert entry.level in LEVELS
        assert entry.status in STATUSES
        assert entry.source
        assert entry.text.endswith(".")
        assert (entry.value is None and entry.limit is None) or entry.unit
        assert entry.status != "computed" or entry.value is None or entry.formula, entry.id
        for found in re.finditer(r"(?<![\w.])\d[\d.]*\d|(?<![\w.])\d", entry.text):
            before, after = entry.text[: found.start()], entry.text[found.end() :]
            assert UNIT.match(after) or LABEL.search(before), f"{entry.id}: {found.group()} in {entry.text!r}"


def test_ids_are_stable() -> None:
    """What a diff between two revisions shows must be a change of the job, not of a name."""
    assert {entry.id for entry in assess(JOB)} == {entry.id for entry in assess(job(optical_power_w=9.0, kerf_mm=0.3))}


def test_job_is_frozen_and_whole() -> None:
    assert [f.name for f in fields(Job)][:5] == ["stock", "machine", "recipe", "room", "listening"]
    with pytest.raises(AttributeError):
        JOB.cut_time_s = 1.0  # type: ignore[misc]
    assert replace(JOB) == JOB
