"""What was measured on the finished speaker goes into the next build, and nothing of it is lost."""

import json
from dataclasses import replace

import numpy as np
import pytest

from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete
from kerfwave.acoustics.network import response
from kerfwave.body.supply import uniform
from kerfwave.cli import main
from kerfwave.jobs import _load
from kerfwave.model.kinds import mean_mm
from kerfwave.model.measured import Measured, MeasuredValue
from kerfwave.stages import body, learned, sizing
from kerfwave.stages import response as responding


def value(quantity: str, number: float) -> MeasuredValue:
    return MeasuredValue(quantity, quantity, "", number, None, "2026-08-01", "")


@pytest.fixture(scope="module")
def made(demo_spec):
    """Return the demo's body and response, made once."""
    spec = demo_spec

    def quiet(*_: object) -> None: ...

    supply = uniform(mean_mm(spec.stock.measured_mm))
    sized = sizing.run(spec.driver, spec.target, spec.enclosure, supply, spec.drive.volts, "half", progress=quiet)
    built = body.run(sized, spec.driver, spec.enclosure, spec.target, spec.drive.volts, "half", progress=quiet)
    sound = responding.run(built, sized, spec.driver, spec.target, spec.drive.volts, spec.listening)
    return spec, built, sound


def run(made, *values: MeasuredValue) -> learned.Learned:
    spec, built, sound = made
    return learned.run(Measured(values), built, sound, spec.drive.volts, spec.listening)


def test_nothing_measured_changes_nothing(made):
    assert run(made).network is None
    assert run(made, value("kerf_mm", 0.2)).response is None  # says nothing of the sound


def test_what_was_promised_exactly_gives_the_promised_response(made):
    _, built, sound = made
    same = run(made, value("chamber_l", built.network.chamber_m3 * 1e3))
    assert same.response is not None
    assert np.allclose(same.response.spl_db, sound.response.spl_db, atol=1e-6)


def test_a_smaller_chamber_and_another_driver_are_put_in(made):
    spec, _, sound = made
    found = run(made, value("chamber_l", 0.5), value("driver_fs_hz", 98.0), value("re_ohm", 3.9))
    assert found.network is not None and found.response is not None
    assert found.network.chamber_m3 == pytest.approx(0.5e-3)
    assert found.network.driver.fs_hz == pytest.approx(98.0)
    again = response(found.network, sound.response.frequency_hz, air(), spec.drive.volts, 1.0, "half")
    assert np.allclose(again.spl_db, found.response.spl_db)
    assert complete(replace(spec.driver), air()).re_ohm == 3.6  # the spec itself is as it was


def test_the_file_beside_the_spec_is_found(tmp_path, shelf_copy):
    spec = shelf_copy / "listening-post.yaml"
    assert _load(spec).measured == Measured()
    arguments = ["learn", "measured", str(spec), "--set", "chamber_l=0.6+-0.02", "--date", "2026-08-01"]
    assert main(arguments) == 0
    found = _load(spec).measured
    assert (found.of("chamber_l"), found.values[0].standard, found.values[0].date) == (0.6, 0.02, "2026-08-01")
    assert json.dumps(found.of("leak")) == "null"
