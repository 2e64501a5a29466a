"""What is written back: driver files, recipes and records; nothing is lost, nothing replaced without being asked."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.cli import main
from kerfwave.findings import SpecError
from kerfwave.learn.edit import LearnError, add_recipe, checked, set_values, token
from kerfwave.learn.records import Record, learned, read_records, records_of_promise
from kerfwave.measure.impedance_model import driver_impedance
from kerfwave.spec import load, yaml_source

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


@pytest.fixture
def shelf(tmp_path):
    """Return a folder of one's own with the demo specs and their shelf."""
    return Path(shutil.copytree(SPECS, tmp_path / "specs"))


@pytest.fixture
def sweeps(tmp_path):
    """Return sweeps of an invented driver: free air, and 1 g on 1.578 g of moving mass."""
    hz = np.geomspace(15, 20e3, 160)
    coil = {"re_ohm": 3.6, "le_h": 1e-4, "l2_h": 2e-4, "r2_ohm": 3.0}
    root = float(np.sqrt(1 + 1 / 1.578))
    rng = np.random.default_rng(7)
    files = []
    for name, factor in (("free.txt", 1.0), ("mass.txt", root)):
        z = driver_impedance(hz, fs_hz=105 / factor, qms=3.0 * factor, qes=0.7 * factor, **coil)
        z = z * np.exp(0.003 * (rng.standard_normal(160) + 1j * rng.standard_normal(160)))
        rows = "\n".join(f"{f:.4f}\t{abs(v):.5f}\t{np.degrees(np.angle(v)):.4f}" for f, v in zip(hz, z, strict=True))
        (tmp_path / name).write_text(f"Hz\tohm\tdeg\n{rows}\n", "utf-8")
        files.append(str(tmp_path / name))
    return files


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


# -- the commands


def test_a_fitted_driver_builds(shelf, sweeps, tmp_path, capsys):
    target = shelf / "drivers" / "mine.yaml"
    job = ["fit", sweeps[0], "--added-mass", "1", sweeps[1], "--out", str(tmp_path / "out"), "-o", str(target)]
    assert main([*job]) == 2  # sizes are missing
    assert "--frame-mm" in capsys.readouterr().err
    assert not target.exists()
    like = ["--like", str(shelf / "drivers" / "invented-75-wideband.yaml")]
    assert main([*job, *like, "--date", DATE, "--power-w", "12"]) == 0
    spec = shelf / "listening-post.yaml"
    spec.write_text(spec.read_text("utf-8").replace("drivers/invented-75-wideband.yaml", "drivers/mine.yaml"), "utf-8")
    driver = load(spec).spec.driver
    assert driver.mms_g == pytest.approx(1.578, rel=0.02)
    assert driver.fs_hz == pytest.approx(105, rel=0.005)
    assert driver.l2_mh == pytest.approx(0.2, rel=0.03)
    assert (driver.power_w, driver.frame_mm, driver.name) == (12, 74, "mine")
    assert "# ± " in target.read_text("utf-8")
    names = {p.name for p in (tmp_path / "out" / "fit-mine").iterdir()}
    assert names >= {"fit.json", "residual.svg", "impedance-free-air.csv", "impedance-added-mass.svg"}

    before = target.read_text("utf-8")
    capsys.readouterr()
    assert main([*job, *like, "--date", DATE]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main([*job, "--replace", "--uncertainty", "0.5"]) == 2  # no date
    assert target.read_text("utf-8") == before
    heavier = [*job[:3], "1.1", *job[4:]]
    assert main([*heavier, "--replace", "--date", "2026-06-02"]) == 0
    after = target.read_text("utf-8")
    assert "# 2026-06-02: mms_g was 1.5" in after
    assert after.count("# Sweeps: ") == 1
    assert load(spec).spec.driver.mms_g == pytest.approx(1.1 * driver.mms_g, rel=1e-3)


def test_fit_says_what_a_driver_file_lacks(sweeps, tmp_path, capsys):
    assert main(["fit", sweeps[0], "--out", str(tmp_path)]) == 0
    assert "missing: Mms, Cms, Bl and Vas" in capsys.readouterr().out
    target = tmp_path / "x.yaml"
    sizes = [
        "--sd",
        "22",
        "--frame-mm",
        "74",
        "--cutout-mm",
        "60",
        "--bolt-circle-mm",
        "67",
        "--depth-mm",
        "38",
        "--xmax-mm",
        "3",
        "--power-w",
        "10",
    ]
    job = ["fit", sweeps[0], "--out", str(tmp_path), "-o", str(target), *sizes]
    assert main(job) == 2
    assert "--added-mass" in capsys.readouterr().err
    assert not target.exists()
    assert main([*job, "--vas-l", "1.0"]) == 0  # from a data sheet
    assert checked(target.read_text("utf-8"), "x", "driver").data["vas_l"] == 1


@pytest.mark.parametrize(
    "more",
    [
        ["--added-mass", "1", "no-such-file"],
        ["--added-mass", "heavy", "free.txt"],
        ["--known-box", "-1", "free.txt"],
        ["--sd", "-3"],
        ["--from", "19000"],
        ["--date", "May"],
    ],
)
def test_fit_refuses_bad_input(sweeps, tmp_path, more, capsys):
    more = [sweeps[0] if word == "free.txt" else word for word in more]
    assert main(["fit", sweeps[0], "--out", str(tmp_path / "out"), *more]) == 2
    assert "nothing was written" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_learn_recipe_from_a_coupon_serves_the_next_build(shelf, capsys):
    file = shelf / "recipes" / "mine.yaml"
    facts = [
        "--optical-power",
        "10",
        "--wavelength",
        "450",
        "--material",
        "poplar-plywood",
        "--glue",
        "uf",
        "--air-assist",
        "true",
        "--power",
        "90",
    ]
    job = ["learn", "recipe", str(file), "--name", "poplar", "--coupon", "coupon-kerf", "--date", DATE, *facts]
    read = ["--feed", "300", "--passes", "2", "--gap", "2.2", "--thickness", "3.94", "3.97", "3.95", "3.98"]
    assert main([*job, *read]) == 0
    entry = next(e for e in load(shelf / "desk-speaker.yaml").spec.recipes if e.name == "poplar")
    assert entry.kerf_mm == pytest.approx(0.2)  # 2.2 mm over 11 cuts
    assert entry.thickness_mm == pytest.approx(3.96)
    assert entry.provenance.measured
    assert "4 readings" in entry.provenance.note
    assert main([*job, *read]) == 2
    assert main([*job, *read, "--kerf", "0.2"]) == 2
    before = file.read_text("utf-8")
    capsys.readouterr()
    assert main([*job, "--replace", "--kerf", "0.2", "0.21"]) == 2  # half an entry
    assert "still to say: --thickness, --feed, --passes; or name what knows them" in capsys.readouterr().err
    assert file.read_text("utf-8") == before
    capsys.readouterr()


def test_learn_measured_beside_the_spec(shelf, tmp_path, capsys):
    spec, target = shelf / "desk-speaker.yaml", shelf / "desk-speaker.measured.yaml"
    promise = tmp_path / "promise.json"
    mark = {"name": "dip 1", "measured_hz": 61.8, "standard_hz": 0.55}
    promise.write_text(json.dumps({"format": "kerfwave-promise-1", "marks": [mark], "as_built": []}), "utf-8")
    job = ["learn", "measured", str(spec), "--date", DATE]
    assert main([*job, "--promise", str(promise), "--set", "leak=0.05+-0.01"]) == 0
    found = read_records(target.read_text("utf-8"), shown="m")
    assert (found.of("tuning_hz").value, found.of("leak").standard) == (61.8, 0.01)
    before = target.read_bytes()
    for wrong in (["tuning_hz=60"], ["leak"], ["leak=x"], ["leak=0.1", "leak=0.2"], ["speed=3"], [], ["leak=nan"]):
        assert main([*job, *(["--set", *wrong] if wrong else [])]) == 2
    assert main(["learn", "measured", str(tmp_path / "none.yaml"), "--set", "leak=0.1", "--date", DATE]) == 2
    assert target.read_bytes() == before
    assert main([*job, "--set", "tuning_hz=60", "--replace"]) == 0
    assert len(read_records(target.read_text("utf-8"), shown="m").history) == 1
    load(spec)  # the file beside it does not disturb the spec
    capsys.readouterr()


def test_learn_driver(shelf, capsys):
    file = shelf / "drivers" / "invented-75-wideband.yaml"
    job = ["learn", "driver", str(file), "fs_hz=108.2", "mms_g=1.9", "--date", DATE]
    assert main(job) == 2
    assert file.read_text("utf-8") == DRIVER_TEXT
    assert main([*job, "--replace", "--why", "promise of May"]) == 0
    said = capsys.readouterr()
    assert "vas_l is 1 L" in said.err  # contradicts the new mass
    assert "fs_hz was 105 (promise of May)" in file.read_text("utf-8")
    assert main([*job]) == 0
    assert "says so already" in capsys.readouterr().err
