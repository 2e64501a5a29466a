"""What is written back: driver files, recipes and records; nothing is lost, nothing replaced without being asked."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.findings import SpecError
from kerfwave.learn.edit import LearnError, add_recipe, checked, set_values, token
from kerfwave.learn.records import Record, learned, read_records, records_of_promise
from kerfwave.spec import yaml_source

SPECS = Path(__file__).parents[2] / "specs"
DRIVER_TEXT = (SPECS / "drivers" / "invented-75-wideband.yaml").read_text("utf-8")
RECIPE_TEXT = (SPECS / "recipes" / "invented-blue-diodes.yaml").read_text("utf-8")
DATE = "2026-05-02"
ENTRY = {
    "name": "poplar, measured",
    "optical_power_w": 10,
    "wavelength_nm": 450,
    "material": "poplar-plywood",
    "glue": "uf",
    "thickness_mm": 3.96,
    "air_assist": True,
    "power_percent": 90,
    "feed_mm_min": 300,
    "passes": 2,
    "kerf_mm": 0.19,
    "provenance": {"measured": True, "date": DATE, "coupon": "coupon-kerf", "note": 'a "quoted": note, #5'},
}


# -- numbers in a driver file


def test_a_value_changes_in_its_place_and_leaves_a_trace():
    text = set_values(
        DRIVER_TEXT, "d.yaml", "driver", {"fs_hz": 98.4, "mms_g": 1.8}, date=DATE, why="sweep 3", replace=True
    )
    old, new = DRIVER_TEXT.splitlines(), text.splitlines()
    assert [line for line in new if line not in old] == [
        "fs_hz: 98.4",
        "mms_g: 1.8",
        "# Replaced values, oldest first:",
        "# 2026-05-02: fs_hz was 105 (sweep 3)",
    ]
    assert [line for line in old if line not in new] == ["fs_hz: 105"]
    again = set_values(text, "d.yaml", "driver", {"fs_hz": 99}, date="2026-06-02", why="sweep 4", replace=True)
    assert again.splitlines()[-2:] == [new[-1], "# 2026-06-02: fs_hz was 98.4 (sweep 4)"]


def test_nothing_is_replaced_without_being_asked():
    with pytest.raises(LearnError, match=r"fs_hz 105 \(measured 98.4\)"):
        set_values(DRIVER_TEXT, "d.yaml", "driver", {"fs_hz": 98.4}, date=DATE, why="", replace=False)
    same = set_values(DRIVER_TEXT, "d.yaml", "driver", {"fs_hz": 105}, date=DATE, why="", replace=False)
    assert same == DRIVER_TEXT


def test_a_remark_stays_but_an_old_uncertainty_goes():
    text = DRIVER_TEXT.replace("fs_hz: 105", "fs_hz: 105  # ± 0.4").replace("qms: 3.0", "qms: 3.0  # from the sheet")
    new = set_values(text, "d.yaml", "driver", {"fs_hz": 98, "qms": 2.5}, date=DATE, why="x", replace=True)
    assert "fs_hz: 98\n" in new
    assert "qms: 2.5  # from the sheet\n" in new


@pytest.mark.parametrize("change", [{"fs_hz": 4000}, {"screw_count": 2.5}, {"nonsense": 3}])
def test_what_does_not_fit_the_schema_is_refused(change):
    with pytest.raises(SpecError):
        set_values(DRIVER_TEXT, "d.yaml", "driver", change, date=DATE, why="x", replace=True)


def test_odd_layouts_are_written_rightly_or_refused():
    flow = "{" + ", ".join(line for line in DRIVER_TEXT.splitlines() if ":" in line and line[0] != "#") + "}\n"
    with pytest.raises(LearnError):
        set_values(flow, "d.yaml", "driver", {"mms_g": 1.8}, date=DATE, why="x", replace=True)
    assert "{name" in set_values(flow, "d.yaml", "driver", {"fs_hz": 98}, date=DATE, why="x", replace=True)
    windows = DRIVER_TEXT.replace("\n", "\r\n")
    new = set_values(windows, "d.yaml", "driver", {"fs_hz": 98}, date=DATE, why="x", replace=True)
    assert checked(new, "d.yaml", "driver").data["fs_hz"] == 98


@pytest.mark.parametrize("date", ["", "yesterday", "2026-13-01", "2026-5-2", "02.05.2026", "2026-05-02\n"])
def test_dates_are_asked_for(date):
    with pytest.raises(LearnError, match=r"2026-05-02"):
        set_values(DRIVER_TEXT, "d.yaml", "driver", {"fs_hz": 98}, date=date, why="x", replace=True)


def test_a_remark_cannot_become_a_value():
    why = "x\nqes: 9\n# \x1b[31m\u2028name: y"
    new = set_values(DRIVER_TEXT, "d.yaml", "driver", {"fs_hz": 98}, date=DATE, why=why, replace=True)
    data = checked(new, "d.yaml", "driver").data
    assert data == {**checked(DRIVER_TEXT, "d.yaml", "driver").data, "fs_hz": 98}
    assert "\x1b" not in new


@given(st.text(alphabet=st.characters(blacklist_categories=("Cc", "Cs", "Cn", "Co", "Cf", "Zl", "Zp")), max_size=40))
def test_text_is_read_as_it_was_written(text):
    source = yaml_source.read(f"key: {token(text)}\n".encode(), "t")
    assert source.findings == ()
    assert source.data == {"key": text}


# -- recipes


def test_a_recipe_is_added_under_the_last_one():
    text = add_recipe(RECIPE_TEXT, "r.yaml", ENTRY)
    assert text.startswith(RECIPE_TEXT.rstrip("\n"))
    entries = checked(text, "r.yaml", "recipes").data["entries"]
    assert entries[-1] == ENTRY
    assert len(entries) == 2


def test_a_recipe_takes_the_rest_from_another():
    entry = {"name": "June", "passes": 7, "kerf_mm": 0.21, "provenance": {"measured": True, "date": DATE}}
    text = add_recipe(RECIPE_TEXT, "r.yaml", entry, like="birch 6.3 mm, 5.5 W, air")
    old, new = checked(text, "r.yaml", "recipes").data["entries"]
    assert new == {**old, **entry}
    with pytest.raises(LearnError, match=r"birch 6\.3"):
        add_recipe(RECIPE_TEXT, "r.yaml", entry, like="no such")


def test_a_recipe_of_the_same_name_stays_as_a_remark():
    once = add_recipe(RECIPE_TEXT, "r.yaml", ENTRY)
    later = {**ENTRY, "passes": 3, "provenance": {"measured": True, "date": "2026-06-02"}}
    with pytest.raises(LearnError, match=r"--replace"):
        add_recipe(once, "r.yaml", later)
    twice = add_recipe(once, "r.yaml", later, replace=True)
    assert checked(twice, "r.yaml", "recipes").data["entries"][-1] == later
    assert "  # Until 2026-06-02:" in twice
    kept = [line[4:] for line in twice.splitlines() if line.startswith("  # ")][1:]
    assert checked("entries:\n" + "\n".join(f"  {line}" for line in kept), "r", "recipes").data["entries"] == [ENTRY]


def test_recipes_before_another_key_and_new_files():
    text = RECIPE_TEXT + "\n# about this shelf\nnotes: kept\n"
    new = add_recipe(text, "r.yaml", ENTRY)
    assert new.endswith("\n\n# about this shelf\nnotes: kept\n")
    made = add_recipe(None, "r.yaml", ENTRY)
    assert checked(made, "r.yaml", "recipes").data["entries"] == [ENTRY]
    with pytest.raises(SpecError, match="passes"):
        add_recipe(None, "r.yaml", {key: value for key, value in ENTRY.items() if key != "passes"})
    flow = "entries: [" + token(ENTRY) + "]\n"
    with pytest.raises(LearnError, match="one under another"):
        add_recipe(flow, "r.yaml", {**ENTRY, "name": "other"})


# -- records


def test_records_keep_their_history():
    first = [Record("tuning_hz", 62.7, DATE, 0.4, "sweep 1", "me, myself", 'a "note"'), Record("leak", 0.05, DATE)]
    text = learned(None, first, shown="m.yaml", replace=False)
    assert read_records(text, shown="m.yaml").current == tuple(first)
    text = text.replace("  leak", "  # by ear\n  leak")
    second = Record("tuning_hz", 60.0, "2026-06-02", 0.5)
    with pytest.raises(LearnError, match=r"62.7 of 2026-05-02"):
        learned(text, [second], shown="m.yaml", replace=False)
    assert learned(text, [first[1]], shown="m.yaml", replace=False) == text
    for date, value in (("2026-06-02", 60.0), ("2026-07-02", 61.0), ("2026-08-02", 61.5)):
        new = [Record("tuning_hz", value, date, 0.5), Record("kerf_mm", 0.21 + value / 1000, date)]
        text = learned(text, new, shown="m.yaml", replace=True)
    found = read_records(text, shown="m.yaml")
    assert found.of("tuning_hz") == Record("tuning_hz", 61.5, "2026-08-02", 0.5)
    history = [(r.quantity, r.value, r.date, r.until) for r in found.history if r.quantity == "tuning_hz"]
    assert history == [
        ("tuning_hz", 62.7, DATE, "2026-06-02"),
        ("tuning_hz", 60.0, "2026-06-02", "2026-07-02"),
        ("tuning_hz", 61.0, "2026-07-02", "2026-08-02"),
    ]
    assert found.history[0].note == 'a "note"'
    assert "  # by ear\n" in text
    assert found.of("leak") == first[1]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("measured:\n  speed: {value: 3, date: '2026-05-02'}\n", "no quantity"),
        ("measured:\n  leak: {value: 9, date: '2026-05-02'}\n", "no value that can be right"),
        ("measured:\n  leak: {value: x, date: '2026-05-02'}\n", "no value that can be right"),
        ("measured:\n  leak: 0.05\n", "no date"),
        ("measured:\n  leak: {value: 0.05, date: May}\n", "2026-05-02"),
        ("measured:\n  leak: {value: 0.05, date: '2026-05-02', standard: -1}\n", "standard"),
        ("measured:\n  leak: {value: 0.05, date: '2026-05-02', colour: red}\n", "colour"),
        ("measured:\n  leak: {value: 0.05, date: '2026-05-02', until: '2026-05-02'}\n", "until"),
        ("measured: 3\n", "no mapping"),
        ("history: 3\n", "no list"),
        ("history:\n  - {quantity: leak, value: 0.05, date: '2026-05-02'}\n", "no until"),
        ("other: 3\n", "unknown key 'other'"),
        ("measured: {leak: {value: 1\n", "YAML"),
    ],
)
def test_wrong_records_are_refused(text, problem):
    with pytest.raises(SpecError, match=problem):
        read_records(text, shown="m.yaml")


def test_new_records_are_checked_like_old_ones():
    for wrong in (Record("leak", 9.0, DATE), Record("speed", 1.0, DATE)):
        with pytest.raises(SpecError):
            learned(None, [wrong], shown="m.yaml", replace=False)
    with pytest.raises(LearnError, match=r"2026-05-02"):
        learned(None, [Record("leak", 0.1, "May")], shown="m.yaml", replace=False)
    with pytest.raises(LearnError, match="one value"):
        learned(None, [Record("leak", 0.1, DATE), Record("leak", 0.2, DATE)], shown="m.yaml", replace=False)


def test_records_of_a_comparison():
    data = {
        "format": "kerfwave-promise-1",
        "marks": [
            {"name": "dip 1", "measured_hz": 61.804, "standard_hz": 0.5545},
            {"name": "peak 1", "measured_hz": None, "standard_hz": None},
            {"name": "dip 2", "measured_hz": 300.0, "standard_hz": 1.0},
        ],
        "as_built": [
            {"key": "chamber", "promised": 0.627, "value": 0.66240704, "standard": 0.00173993, "clear": True},
            {"key": "fill", "promised": 4000.0, "value": 4800.0, "standard": 40.0, "clear": True},
            {"key": "qms", "promised": 3.0, "value": 3.01, "standard": 0.02, "clear": False},
            {"key": "le", "promised": 0.1, "value": 0.2, "standard": 0.01, "clear": True},
        ],
    }
    assert records_of_promise(data) == {
        "tuning_hz": (61.8, 0.55),
        "chamber_l": (0.6624, 0.0017),
        "fill_percent": (120.0, 1.0),
    }
    for wrong in ({}, [], {"format": "kerfwave-promise-1"}, {**data, "marks": [{}]}):
        with pytest.raises(ValueError, match=r"promise\.json"):
            records_of_promise(wrong)
