"""The body as the listener sees it, and what the stages say of it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import bodies
from kerfwave.acoustics import sizing
from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete
from kerfwave.acoustics.network import response
from kerfwave.body import measure
from kerfwave.model.acoustic import Network
from kerfwave.model.kinds import kinds
from kerfwave.model.spec import Drive, DriverCurve, Listening, SheetStock, Stock, Target
from kerfwave.stages import listening, spread

TARGET = Target(100, 700, 60.0, 20.0, 70.0)


@pytest.fixture(scope="module", params=["upright", "facing"])
def made(request):
    body, slices, _, _, counts = bodies.made(bodies.trapezoid(186, 156, 212), stack=request.param, height=100.0)
    volumes = measure.measured(body, slices, bodies.DRIVER)
    candidate = sizing.Candidate(0, counts.total, volumes.chamber_m3, volumes.closed_m3, volumes.guide)
    driver = complete(bodies.DRIVER, air())
    return body, sizing.network(candidate, driver, air(), sizing.Fill()), Network(driver, volumes.closed_m3)


def heard(made, place=None, curve=None, drive=None, driver=bodies.DRIVER):
    body, network, closed = made
    place, drive = place or Listening(1.0, "half"), drive or Drive(2.0)
    f = tuple(np.geomspace(20, 2000, 100))
    both = [response(n, f, air(), drive.volts, place.distance_m, place.space) for n in (network, closed)]
    return listening.run(body, network, both[0], closed, both[1], driver, TARGET, drive, place, curve)


def test_the_scene_has_the_size_of_the_body(made):
    body, network, _ = made
    scene = listening.scene_of(body, network, Listening(1.5, "half"))
    us, vs = [u for u, _ in scene.front], [v for _, v in scene.front]
    tall = body.counts.total * body.rules.thickness_mm * 1e-3
    upright = body.rules.stack == "upright"
    assert max(us) - min(us) == pytest.approx(0.186)
    assert max(vs) - min(vs) == pytest.approx(tall if upright else 0.212)
    assert scene.wall_m == pytest.approx(0.212 if upright else tall)
    assert scene.cone.centre_m == (0.0, 0.0, 0.0)
    assert scene.listener_m == (0.0, 0.0, 1.5)
    # The mouth is in the body's skin, and its normal leads away from it.
    u, v, w = scene.mouth.centre_m
    assert -scene.wall_m - 1e-6 <= w <= 1e-6
    assert min(us) - 1e-6 <= u <= max(us) + 1e-6
    assert min(vs) - 1e-6 <= v <= max(vs) + 1e-6
    assert sum(n * n for n in scene.mouth.normal) == pytest.approx(1.0)
    assert listening.scene_of(body, network, Listening(1.0, "full")).wall_m is None
    assert listening.scene_of(body, network, Listening(1.0, "half", "in-wall")).wall_m == 0.0


def test_everything_that_is_told_is_a_number(made):
    for space in ("half", "full"):
        found = heard(made, Listening(1.0, space))
        for values in (found.heard.spl_db, found.heard.plain_db, found.limits.level_db):
            assert np.isfinite(values).all()
        assert [c.id for c in found.checks if c.id != "mouth-wall"] == ["listening", "bass-control"]
        assert [row.frequency_hz for row in found.loudest] == [50, 63, 80, 100, 200]


def test_let_into_a_wall_there_is_nothing_of_edges_and_wall(made):
    """An endless wall doubles a source in it at every frequency: what is heard of the cone is the plain sum."""
    body, _, closed = made
    found = heard((body, closed, closed), Listening(3.0, "half", "in-wall")).heard
    assert found.spl_db == pytest.approx(found.plain_db, abs=0.01)
    assert set(found.baffle_step_db) == {0.0}
    assert found.wall_m == 0.0


def test_no_louder_than_the_amplifier(made):
    found = heard(made, drive=Drive(2.0, 2.5))
    assert max(found.limits.volts) <= 2.5 + 1e-9
    assert "voltage" in found.limits.binding


def test_a_measured_cone_goes_on_where_the_model_ends(made):
    curve = DriverCurve((100.0, 1000.0, 5000.0, 12000.0), (80.0, 80.0, 80.0, 70.0))
    plain, with_it = heard(made), heard(made, curve=curve)
    assert plain.heard.laid_over_hz is None
    assert plain.heard.frequency_hz[-1] == pytest.approx(2000.0)
    low, _ = with_it.heard.laid_over_hz
    assert with_it.heard.frequency_hz[-1] == pytest.approx(12000.0)
    f = np.array(with_it.heard.frequency_hz)
    below = f[f < 0.9 * low]
    one = np.interp(below, plain.heard.frequency_hz, plain.heard.spl_db)
    assert np.array(with_it.heard.spl_db)[: len(below)] == pytest.approx(one, abs=0.3)


def test_a_mouth_that_looks_at_the_wall_is_told(made):
    body, *others = made
    turned = tuple(
        replace(o, normal=(0.0, 1.0, 0.0) if body.rules.stack == "upright" else (0.0, 0.0, 1.0))
        if o.kind == "mouth"
        else o
        for o in body.openings
    )
    odd = replace(body, openings=turned)
    assert "mouth-wall" in {c.id for c in heard((odd, *others)).checks}
    assert "mouth-wall" not in {c.id for c in heard((odd, *others), Listening(1.0, "full")).checks}


def test_a_closed_box_has_no_mouth_to_hear(made):
    body, _, closed = made
    found = heard((body, closed, closed))
    assert found.heard.mouth_m is None
    assert {name for name, _ in found.limits.by_limit} == {"excursion", "power"}


def test_the_demo_tells_what_is_heard_and_how_builds_differ(demo_package: Path):
    report = json.loads((demo_package / "report.json").read_text("utf-8"))
    acoustics = report["acoustics"]
    got, limits, builds = acoustics["listening"], acoustics["limits"], acoustics["spread"]
    assert got["wall_m"] == 0.0
    assert len(got["spl_db"]) == len(got["frequency_hz"]) == len(got["plain_db"])
    assert np.array(got["plain_db"]) == pytest.approx(np.array(acoustics["response"]["spl_db"]), abs=1e-6)
    assert set(limits["binding"]) <= {"excursion", "power", "voltage", "mouth"}
    nominal = np.interp(np.log(builds["frequency_hz"]), np.log(got["frequency_hz"]), got["plain_db"])
    low, high = (np.array(builds["level_db"][key]) for key in ("low", "high"))
    inside = (low <= nominal + 0.05) & (nominal <= high + 0.05)
    assert inside.mean() > 0.9
    assert {f["name"] for f in builds["figures"]} >= {"tuning", "level", "least relief", "excursion"}
    assert {c["id"] for c in report["checks"]} >= {"listening", "bass-control", "spread"}
    guide = (demo_package / "guide.html").read_text("utf-8")
    for words in ("At the listening place", "Greatest level", "From build to build", "As loud as it goes"):
        assert words in guide


def test_a_target_at_the_edge_is_told_by_the_spread(made):
    body, network, closed = made
    f = (100.0, 200.0)
    plain = response(network, f, air(), 2.0, 1.0, "half")
    asked = replace(TARGET, band_from_hz=100.0, band_to_hz=110.0, level_db=plain.spl_db[0] + 0.2, ripple_db=30.0)
    asked = replace(asked, relief_least_db=-20.0)
    stock = Stock("birch", "birch-plywood", "muf", 6.5, (6.3,), 680, (SheetStock(400, 400, 9),))
    found = spread.run(network, closed, body.counts, kinds(stock), bodies.DRIVER, asked, 2.0, Listening())
    (check,) = found.checks
    assert check.level == "warn"
    assert 0.0 < check.value < 0.8
    assert "what they miss most is the level" in check.text
