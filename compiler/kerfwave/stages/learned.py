"""Learned: what the body does with the values that were measured on it put in place of the computed ones."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.acoustics.network import response
from kerfwave.measure.promise_model import AsBuilt as Factors
from kerfwave.measure.promise_model import Promised, built, leak_of
from kerfwave.model.acoustic import Network, Response
from kerfwave.model.measured import Measured
from kerfwave.model.spec import Listening
from kerfwave.stages.body import Built
from kerfwave.stages.response import AsBuilt

NETWORK = ("chamber_l", "guide_mm", "leak", "fill_percent", "driver_fs_hz", "driver_qms", "re_ohm")


@dataclass(frozen=True, slots=True)
class Learned:
    """The measured values, and network and response with them; None where none of them says anything of the network."""

    measured: Measured
    network: Network | None
    response: Response | None


def run(measured: Measured, body: Built, sound: AsBuilt, volts: float, listening: Listening) -> Learned:
    """Run the stage."""
    if not any(measured.of(name) is not None for name in NETWORK):
        return Learned(measured, None, None)
    network = body.network
    driver = network.driver
    leak, reference = measured.of("leak"), measured.of("tuning_hz") or sound.tuning_hz

    def share(name: str, computed: float) -> float:
        value = measured.of(name)
        return 1.0 if value is None else value / computed

    factors = Factors(
        chamber=share("chamber_l", network.chamber_m3 * 1e3),
        length=share("guide_mm", math.fsum(s.length_m for s in network.guide) * 1e3),
        leak=leak_of(network, sound.air, reference) if leak is None else leak,
        fill=share("fill_percent", 100.0),
        fs=share("driver_fs_hz", driver.fs_hz),
        qms=share("driver_qms", driver.qms),
        re=share("re_ohm", driver.re_ohm),
    )
    promised = Promised(network, sound.air, volts, listening.distance_m, listening.space)
    changed = built(promised, factors, reference)
    heard = response(changed, sound.response.frequency_hz, sound.air, volts, listening.distance_m, listening.space)
    return Learned(measured, changed, heard)
