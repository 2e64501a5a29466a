"""The commands that measure and learn, from files of readings to the next build."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from kerfwave.cli import main
from kerfwave.fit_jobs import FACTS
from kerfwave.learn.edit import checked
from kerfwave.learn.records import read_records
from kerfwave.measure.impedance_model import driver_impedance
from kerfwave.spec import load
from kerfwave.spec.schema_files import schema

SPECS = Path(__file__).parents[2] / "specs"
DATE = "2026-05-02"


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


def test_every_size_and_rating_of_a_driver_file_can_be_given_or_carried_over():
    numbers = {key for key, part in schema("driver")["properties"].items() if part["type"] in ("number", "integer")}
    fitted = {"fs_hz", "qms", "qes", "qts", "re_ohm", "bl_tm", "le_mh", "l2_mh", "r2_ohm", "sd_cm2"}
    assert numbers - fitted == set(FACTS)


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
    before = file.read_bytes()
    assert main(job) == 2
    assert file.read_bytes() == before
    assert main([*job, "--replace", "--why", "promise of May"]) == 0
    said = capsys.readouterr()
    assert "vas_l is 1 L" in said.err  # contradicts the new mass
    assert "fs_hz was 105 (promise of May)" in file.read_text("utf-8")
    assert main([*job]) == 0
    assert "says so already" in capsys.readouterr().err
