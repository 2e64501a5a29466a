"""Measured impedance against the promise: places of peaks, as-built quantities, verdicts; on simulated bodies."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, fields, replace
from pathlib import Path

import numpy as np
import pytest

import bodies
from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete
from kerfwave.cli import main
from kerfwave.learn.promise_words import charts_of, csv_of, data_of, text_of
from kerfwave.measure.impedance import ImpedanceSweep
from kerfwave.measure.promise import compare
from kerfwave.measure.promise_features import extrema, matched
from kerfwave.measure.promise_fit import explain
from kerfwave.measure.promise_model import AsBuilt, NoPromise, impedances, play, promised_of
from kerfwave.model.acoustic import Mouth, Network, Segment

AIR = air()
HZ = np.geomspace(20.0, 500.0, 180)
DRIVER = replace(bodies.DRIVER, displacement_cm3=0.0, le_mh=0.1)
GUIDE = (
    Segment("first", 0.30, 13e-4, 13e-4, 0.18, 0.18, 20.0, 450.0),
    Segment("second", 0.35, 13e-4, 16e-4, 0.18, 0.20, -6.0),
    Segment("third", 0.25, 16e-4, 16e-4, 0.20, 0.20),
)
BODY = Network(complete(DRIVER, AIR), 0.8e-3, 900.0, GUIDE, Mouth(16e-4, "flanged"))


def report_of(network=BODY, spectrum=None):
    """Return as much of a package's report as a comparison looks at."""
    data = {"air": asdict(AIR), "network": asdict(network), "drive_volts": 2.0, "distance_m": 1.0, "space": "half"}
    if spectrum is not None:
        ohm = np.abs(play(promised_of({"acoustics": data}), AsBuilt(), spectrum, 60.0).electrical_impedance)
        data["response"] = {"frequency_hz": list(spectrum), "impedance_ohm": [float(v) for v in ohm]}
    return {"acoustics": data}


def measured(made, *, network=BODY, noise=0.0, seed=1, hz=HZ, phase=True, reference_hz=60.0):
    """Return a simulated sweep of the body as built."""
    z = play(promised_of(report_of(network)), made, hz, reference_hz).electrical_impedance
    rng = np.random.default_rng(seed)
    ohm = np.abs(z) * (1.0 + noise * rng.standard_normal(len(hz)))
    degrees = np.degrees(np.angle(z) + noise * rng.standard_normal(len(hz)))
    return ImpedanceSweep("body.txt", tuple(hz), tuple(ohm), tuple(degrees) if phase else None)


def test_many_bodies_at_once_are_each_as_alone():
    promised = promised_of(report_of())
    bodies = [
        AsBuilt(),
        AsBuilt(chamber=1.1, leak=0.1),
        AsBuilt(length=0.9, fs=1.1, le=2.0),
        AsBuilt(qms=0.7, fill=3.0),
    ]
    together = impedances(promised, bodies, HZ, 60.0)
    for row, made in zip(together, bodies, strict=True):
        assert np.abs(row / play(promised, made, HZ, 60.0).electrical_impedance - 1.0).max() < 1e-9


@pytest.mark.parametrize("phase", [True, False], ids=["phase", "magnitude only"])
@pytest.mark.parametrize(
    "made",
    [
        AsBuilt(chamber=1.05),
        AsBuilt(length=0.97),
        AsBuilt(leak=1 / 12),
        AsBuilt(chamber=1.05, length=0.97, leak=0.08, fill=1.3, fs=0.95, qms=1.15),
    ],
    ids=["chamber +5 %", "guide -3 %", "leak", "everything"],
)
def test_what_was_built_otherwise_is_found(made, phase):
    promised = promised_of(report_of())
    exact = explain(promised, measured(made, phase=phase), 60.0)
    noisy = explain(promised, measured(made, phase=phase, noise=0.003), 60.0)
    for i, key in enumerate(exact.keys):
        truth = getattr(made, key)
        assert getattr(exact.made, key) == pytest.approx(truth, abs=2e-4), key
        factor = 1.0 if key == "leak" else truth
        assert abs(getattr(noisy.made, key) - truth) < 3.0 * factor * noisy.standard[i], key
        assert noisy.standard[i] < 0.15
    assert exact.residual_percent < 0.001
    assert noisy.residual_percent == pytest.approx(0.3, rel=0.2)


def test_uncertainty_covers_and_no_fault_is_invented():
    # Ten bodies exactly as promised: of 80 quantities, two standard uncertainties leave out about 4.
    promised = promised_of(report_of())
    outside = 0
    for seed in range(10):
        found = explain(promised, measured(AsBuilt(), noise=0.004, seed=seed), 60.0)
        for key, standard in zip(found.keys, found.standard, strict=True):
            outside += abs(getattr(found.made, key) - (0.0 if key == "leak" else 1.0)) > 2.0 * standard
    assert outside <= 10


def test_a_closed_box_has_no_guide_and_cannot_tell_chamber_from_suspension():
    # Air and suspension are springs side by side, and friction goes with the suspension's Q: only their sum shows.
    closed = Network(BODY.driver, 0.8e-3)
    sweep = measured(AsBuilt(chamber=1.1), network=closed, noise=0.002)
    found = compare(report_of(closed), sweep)
    assert set(found.explained.keys) == {"chamber", "leak", "fs", "qms", "re", "le"}
    assert found.tuning is None
    assert {frozenset(pair[:2]) for pair in found.explained.together} >= {frozenset(("chamber", "fs"))}
    assert any("can hardly be told apart" in doubt for doubt in found.doubts)
    (chamber,) = [one for one in found.findings if one.key == "chamber"]
    assert chamber.percent.covers(10.0)
    assert chamber.percent.standard > 5.0
    assert found.explained.residual_percent == pytest.approx(0.2, rel=0.3)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_parabola_is_placed_exactly(sign):
    hz = np.geomspace(30.0, 300.0, 120)
    level = 2.0 - sign * 3.0 * np.log(hz / 87.3) ** 2
    (found,) = extrema(ImpedanceSweep("p", tuple(hz), tuple(np.exp(level))))
    assert found.kind == ("peak" if sign > 0 else "dip")
    assert found.hz == pytest.approx(87.3, rel=1e-9)
    assert found.ohm == pytest.approx(math.exp(2.0), rel=1e-9)


def test_the_uncertainty_of_a_peak_covers_its_place():
    hz = np.geomspace(30.0, 300.0, 160)
    level = 2.0 - 3.0 * np.log(hz / 87.3) ** 2
    rng = np.random.default_rng(6)
    inside = 0
    for _ in range(200):
        noisy = np.exp(level + 0.01 * rng.standard_normal(len(hz)))
        near = min(extrema(ImpedanceSweep("p", tuple(hz), tuple(noisy))), key=lambda e: abs(e.hz - 87.3))
        inside += abs(near.hz - 87.3) < 2.0 * near.standard_hz
    assert inside >= 180  # 95.4 % for a known scatter; the window holds some 15 points, whose own scatter is less sure


def test_each_extremum_has_one_partner():
    there = extrema(measured(AsBuilt()))
    assert [e.kind for e in there] == ["peak", "dip", "peak"]
    pairs = matched(there, there[1:])
    assert pairs[0] == (there[0], None)
    assert [pair[1] for pair in pairs[1:]] == list(there[1:])


def test_verdicts():
    good = compare(report_of(), measured(AsBuilt(length=1.01), noise=0.003))
    assert good.within
    assert text_of(good)[0].startswith("verdict: the body keeps its promise")
    bad = compare(report_of(), measured(AsBuilt(length=1.25), noise=0.003))
    assert not bad.within
    assert "does not keep" in text_of(bad)[0]
    assert bad.tuning.percent.value < -5.0
    (length,) = [one for one in bad.findings if one.key == "length"]
    assert length.clear
    assert length.percent.covers(25.0, 3.0)
    assert length.tuning_percent == pytest.approx(bad.tuning.percent.value, abs=1.5)
    assert abs(bad.effect.level_db[0]) < 12.0


def test_a_peak_that_is_gone_fails_and_says_so():
    tight = measured(AsBuilt())
    smooth = ImpedanceSweep("gone", tight.frequency_hz, tuple(np.exp(np.linspace(1.3, 1.6, len(tight.ohm)))))
    found = compare(report_of(), smooth)
    assert not found.within
    assert any("none measured near it" in line for line in text_of(found))
    assert any("ran into the bounds" in doubt for doubt in found.doubts)


def test_words_numbers_and_drawings_hold_together():
    found = compare(report_of(spectrum=HZ), measured(AsBuilt(chamber=1.05), noise=0.003))
    rows = csv_of(found).splitlines()
    assert len(rows) == 1 + len(HZ)
    assert {len(row.split(",")) for row in rows} == {9}
    assert json.loads(json.dumps(data_of(found)))["within"] is True
    assert set(charts_of(found)) == {"impedance.svg", "deviation.svg", "effect.svg"}
    assert all(text.startswith(("<?xml", "<svg")) for text in charts_of(found).values())
    assert found.doubts == ()
    magnitude = compare(report_of(), measured(AsBuilt(), phase=False))
    assert csv_of(magnitude).splitlines()[1].split(",")[2] == ""


def test_a_report_of_another_version_is_noticed():
    report = report_of(spectrum=HZ)
    report["acoustics"]["response"]["impedance_ohm"][40] *= 1.05
    assert any("build the package again" in doubt for doubt in compare(report, measured(AsBuilt())).doubts)


def broken(change):
    report = report_of()
    change(report["acoustics"])
    return report


@pytest.mark.parametrize(
    ("report", "problem"),
    [
        ({}, "acoustics"),
        ({"acoustics": 3}, "no complete"),
        (broken(lambda a: a["network"].pop("driver")), "driver"),
        (broken(lambda a: a["network"]["driver"].pop("re_ohm")), "re_ohm"),
        (broken(lambda a: a["network"]["driver"].update(re_ohm="x")), "re_ohm is 'x'"),
        (broken(lambda a: a["network"].update(chamber_m3=float("nan"))), "chamber_m3"),
        (broken(lambda a: a["network"]["guide"][1].pop("length_m")), "length_m"),
    ],
)
def test_reports_without_a_network_are_refused(report, problem):
    with pytest.raises(NoPromise, match=problem):
        compare(report, measured(AsBuilt()))


def test_too_narrow_a_band_is_refused():
    with pytest.raises(NoPromise, match="too few"):
        compare(report_of(), measured(AsBuilt()), from_hz=100.0, to_hz=110.0)


def test_factors_of_one_change_nothing():
    promised = promised_of(report_of())
    assert {f.name for f in fields(AsBuilt)} >= {"chamber", "length", "leak", "fill", "fs", "qms"}
    one = impedances(promised, [AsBuilt()], HZ, 60.0)[0]
    other = play(replace(promised), AsBuilt(), HZ, 123.0).electrical_impedance
    assert np.array_equal(np.round(one, 9), np.round(other, 9))


def write(path: Path, sweep: ImpedanceSweep) -> Path:
    rows = zip(sweep.frequency_hz, sweep.ohm, sweep.degrees or (), strict=True)
    path.write_text("Hz;ohm;degrees\n" + "\n".join(";".join(f"{v:.5f}" for v in row) for row in rows), "utf-8")
    return path


def test_command_line(tmp_path, capsys):
    package = tmp_path / "body"
    package.mkdir()
    (package / "report.json").write_text(json.dumps({"format": "kerfwave-report-1", **report_of()}), "utf-8")
    good = write(tmp_path / "good.txt", measured(AsBuilt(length=1.01)))
    bad = write(tmp_path / "bad.txt", measured(AsBuilt(length=1.3)))
    out = ["--out", str(tmp_path / "out")]
    assert main(["promise", str(package), "--impedance", str(good), *out]) == 0
    folder = tmp_path / "out" / "promise-body"
    assert capsys.readouterr().out.splitlines()[-1] == str(folder)
    first = {p.name: p.read_bytes() for p in folder.iterdir()}
    drawings = {"impedance.svg", "deviation.svg", "effect.svg"}
    assert set(first) == {"impedance.csv", "promise.json", "manifest.json", *drawings}
    assert main(["promise", str(package), "--impedance", str(bad), *out]) == 1
    assert main(["promise", str(package / "report.json"), "--impedance", str(good), *out]) == 0
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == first
    capsys.readouterr()
    for arguments in (
        [str(package)],
        [str(package), "--impedance", str(tmp_path / "none.txt")],
        [str(tmp_path), "--impedance", str(good)],
        [str(package), "--impedance", str(good), "--tolerance", "-1"],
        [str(package), "--impedance", str(good), "--from", "300", "--to", "301"],
    ):
        assert main(["promise", *arguments, *out]) == 2
        assert "nothing was written" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == first


def test_command_line_with_a_response(tmp_path, capsys):
    # How it is judged is tested beside `measure.response`; here, that it is reached, and what comes of it.
    hz = np.geomspace(20.0, 2000.0, 200)
    level = 80.0 - 12.0 * np.log2(1.0 + (80.0 / hz) ** 2)
    report = {"format": "kerfwave-report-1", **report_of()}
    report["acoustics"] |= {
        "response": {"frequency_hz": list(hz), "spl_db": list(level)},
        "target": {"band_from_hz": 100.0, "band_to_hz": 700.0},
    }
    report["checks"] = [{"id": "level", "limit": 75.0}, {"id": "ripple", "limit": 15.0}]
    (tmp_path / "body").mkdir()
    (tmp_path / "body" / "report.json").write_text(json.dumps(report), "utf-8")
    file = tmp_path / "heard.txt"
    file.write_text("\n".join(f"{f:.3f}\t{db:.3f}" for f, db in zip(hz, level, strict=True)), "utf-8")
    job = ["promise", str(tmp_path / "body"), "--response", str(file), "--out", str(tmp_path / "out")]
    assert main(job) == 0
    assert "the response keeps its promise" in capsys.readouterr().out
    names = {p.name for p in (tmp_path / "out" / "promise-body").iterdir()}
    assert names == {"response.csv", "response.svg", "manifest.json"}
    assert main([*job, "--absolute", "2.0", "1.0"]) == 0
    assert "level: kept" in capsys.readouterr().out
    assert main([*job, "--absolute", "8.0", "1.0"]) == 1  # four times the drive for the same level: 12 dB too little
    assert "level: missed" in capsys.readouterr().out
    assert main([*job, "--absolute", "0", "1"]) == 2
