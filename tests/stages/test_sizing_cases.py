"""What `enclosure.case` makes of the search, on the demo's body."""

from dataclasses import replace
from pathlib import Path
from statistics import median

import pytest

from kerfwave.acoustics.air import air
from kerfwave.body import checks
from kerfwave.body.slices import slices
from kerfwave.body.supply import uniform
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import mean_mm
from kerfwave.spec import load
from kerfwave.stages import body, field, listening, response, sizing

DEMO = Path(__file__).parents[2] / "specs" / "listening-post.yaml"


def silent(fraction, text):
    """Nobody listens."""


def sized(case, **target):
    spec = load(DEMO).spec
    return sizing.run(
        spec.driver,
        replace(spec.target, **target),
        replace(spec.enclosure, case=case, guide_least_mm=None, least_duct_mm=16.0),
        uniform(mean_mm(spec.stock.measured_mm)),
        spec.drive.volts,
        spec.listening.space,
        progress=silent,
    )


def test_a_vented_box_has_a_short_duct_and_a_quarter_wave_line_a_long_one():
    wave_mm = 1e3 * air().speed / 70.0
    vented, line = sized("vented"), sized("quarter-wave")
    assert vented.designs and line.designs
    assert vented.least_guide_mm == 0.0
    assert all(d.fold.length_mm <= wave_mm / 8 for d in vented.designs)
    assert line.least_guide_mm == pytest.approx(0.8 * wave_mm / 4, abs=0.1)
    if line.long_enough:
        assert all(d.fold.length_mm >= line.least_guide_mm for d in line.designs)
    areas = [d.fold.chamber_area_mm2 for d in line.designs]
    assert max(areas) <= 1.25 * min(areas) * (1 + 1e-9) or len(areas) == 1
    assert median(areas) < median(d.fold.chamber_area_mm2 for d in vented.designs)


def test_a_vent_that_cannot_be_short_enough_is_said():
    with pytest.raises(StageError, match=r"the shortest duct that folds into this plan is .* an eighth of the wave"):
        sized("vented", relief_from_hz=900.0, relief_to_hz=1000.0)


def test_a_closed_box_is_built_whole():
    """No guide and no mouth anywhere: in the search, in the wood, in the network, in what is said of it."""
    spec = load(DEMO).spec
    target = replace(spec.target, relief_least_db=0.0, bass_at_hz=None)
    enclosure = replace(spec.enclosure, case="closed", mouth_face="auto")
    found = sized("closed", relief_least_db=0.0, bass_at_hz=None)
    assert (found.folds, found.tried, found.least_guide_mm) == (1, 3, 0.0)
    assert found.feasible > 0
    built = body.run(found, spec.driver, enclosure, target, 2.0, "half", progress=silent)
    assert built.network.mouth is None and built.network.guide == () and built.volumes.guide == ()
    assert {o.kind for o in built.body.openings} == {"driver", "terminal"}
    assert built.closed.chamber_m3 == pytest.approx(built.network.chamber_m3, rel=1e-9)
    ways = checks._air_ways(built.body, slices(built.body, "sheet"))
    assert [(c.id, c.level) for c in ways] == [("leak", "ok"), ("way-driver", "ok"), ("way-terminal", "ok")]
    assert field.run(built, True, 70.0, 2.0, progress=silent) == field.Solved(None, ())
    does = response.run(built, found, spec.driver, target, 2.0, spec.listening)
    assert all(c.level == "ok" for c in does.checks)
    assert not {"mouth", "guide-length"} & {c.id for c in does.checks}
    if built.fill.chamber_pa_s_m2 == 0.0:
        assert does.response == does.closed
    heard = listening.run(
        built.body,
        built.network,
        does.response,
        built.closed,
        does.closed,
        spec.driver,
        target,
        spec.drive,
        spec.listening,
        None,
    )
    assert heard.heard.mouth_m is None
    assert "mouth" not in heard.limits.binding


def test_a_driver_without_room_in_a_closed_box_is_said():
    spec = load(DEMO).spec
    with pytest.raises(StageError, match="no closed box has this plan: behind the front a width of"):
        sizing.run(
            replace(spec.driver, depth_mm=215.0),
            spec.target,
            replace(spec.enclosure, case="closed", mouth_face="auto"),
            uniform(mean_mm(spec.stock.measured_mm)),
            2.0,
            "half",
            progress=silent,
        )
