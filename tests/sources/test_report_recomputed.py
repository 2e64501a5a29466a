"""The response in the demo's report, computed again from the report's own network by independent means.

Sources: transmission-line theory as scikit-rf implements it (lines, series and shunt elements cascaded as
S-parameters; published, BSD-licensed, version in the test extra); wall loss by Kirchhoff's wide-duct formula as in
Kinsler et al. (textbook); tapers as a stair of short ducts; fibre by Miki 1990 (coefficients published); flanged end by
its low-frequency limit 0.8216 a and (ka)^2/2 (Norris and Sheng 1989); two small sources by j omega rho exp(-jkd) /
(2 pi d) (textbook); driver and leak as R. H. Small 1972 and 1973 has them. None of Kerfwave's acoustics is used here,
but for making the second network.
"""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pytest
import skrf

MU, GAMMA, PRANDTL = 1.81e-5, 1.4, 0.71  # air near 20 C, common practice to this precision


@pytest.fixture(scope="module")
def acoustics(demo_package) -> dict:
    return json.loads((demo_package / "report.json").read_text("utf-8"))["acoustics"]


def stair(s: dict) -> list[tuple[float, float, float]]:
    """Return length, area and perimeter of the uniform ducts that a segment is, or is nearly."""
    if s["area_in_m2"] == s["area_out_m2"]:
        return [(s["length_m"], s["area_in_m2"], s["perimeter_in_m"])]
    steps = 4 + round(40 * abs(np.log(s["area_out_m2"] / s["area_in_m2"])))
    t = (np.arange(steps) + 0.5) / steps
    if s["law"] == "cone":
        area = (np.sqrt(s["area_in_m2"]) * (1 - t) + np.sqrt(s["area_out_m2"]) * t) ** 2
        perimeter = s["perimeter_in_m"] * (1 - t) + s["perimeter_out_m"] * t
    else:
        assert s["law"] == "exponential"
        area = s["area_in_m2"] ** (1 - t) * s["area_out_m2"] ** t
        perimeter = s["perimeter_in_m"] ** (1 - t) * s["perimeter_out_m"] ** t
    return [(s["length_m"] / steps, *both) for both in zip(area.tolist(), perimeter.tolist(), strict=True)]


def medium(air: dict, f: np.ndarray, sigma: float, area: float, perimeter: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the propagation constant and the acoustic impedance of a duct, in fibre (Miki) or not (Kirchhoff)."""
    w, rho, c = 2 * np.pi * f, air["density"], air["speed"]
    if sigma > 0:
        y = f / sigma
        z = rho * c * (1 + 0.0699 * y**-0.632 - 0.1071j * y**-0.632)
        k = w / c * (1 + 0.1093 * y**-0.618 - 0.1597j * y**-0.618)
        return 1j * k, z / area
    loss = perimeter / (2 * area) * np.sqrt(MU * w / (2 * rho)) * (1 + (GAMMA - 1) / np.sqrt(PRANDTL)) / c
    return loss + 1j * (w / c + loss), np.full_like(f, rho * c / area, dtype=complex)


def line_of(f: np.ndarray, length: float, gamma: np.ndarray, z0: np.ndarray, port: float) -> skrf.Network:
    """A duct as a line."""
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    line = skrf.media.DefinedGammaZ0(frequency, z0=z0, gamma=gamma).line(length, unit="m", z0=z0)
    line.renormalize(port)
    return line


def lumped(f: np.ndarray, series: np.ndarray, shunt: np.ndarray | float, port: float) -> skrf.Network:
    """A series impedance with an admittance across before it, as ABCD: a negative inertance is no trouble."""
    a = np.tile(np.eye(2, dtype=complex), (len(f), 1, 1))
    a[:, 0, 1], a[:, 1, 0] = series, shunt
    a[:, 1, 1] = 1 + a[:, 0, 1] * a[:, 1, 0]
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    return skrf.Network(frequency=frequency, s=skrf.network.a2s(a, np.full((len(f), 2), port, complex)), z0=port)


def chamber_of(air: dict, net: dict, f: np.ndarray, port: float) -> tuple[np.ndarray, skrf.Network | None]:
    """Return the admittance beside the driver, and what leads from the driver to the guide's inlet, if anything."""
    w, rho = 2 * np.pi * f, air["density"]
    sigma, modulus = net["chamber_flow_resistivity_pa_s_m2"], np.full_like(f, rho * air["speed"] ** 2, dtype=complex)
    if sigma > 0:
        gamma, z = medium(air, f, sigma, 1.0, 0.0)
        modulus = z * w / (-1j * gamma)
    duct = net["chamber_duct"]
    if duct is None:
        return 1j * w * net["chamber_m3"] / modulus, None
    # From the driver to the guide's inlet, a stub with a closed end behind either, the step to the inlet.
    gamma, z0 = medium(air, f, sigma, duct["area_m2"], duct["perimeter_m"])

    def closed_stub(length: float) -> np.ndarray:
        a = line_of(f, length, gamma, z0, port).a
        return a[:, 1, 0] / a[:, 0, 0]

    low, high = sorted((duct["driver_m"], duct["throat_m"]))
    behind = closed_stub(low), closed_stub(duct["length_m"] - high)
    at_driver, at_inlet = behind if duct["driver_m"] < duct["throat_m"] else behind[::-1]
    beside = 1j * w * (net["chamber_m3"] - duct["area_m2"] * duct["length_m"]) / modulus + at_driver
    step = duct["step_kg_m4"] / rho * gamma * z0 * duct["area_m2"]
    return beside, line_of(f, high - low, gamma, z0, port) ** lumped(f, step, at_inlet, port)


def guide_of(air: dict, net: dict, f: np.ndarray, port: float) -> skrf.Network:
    """The guide, from its inlet to its mouth."""
    rho, chain = air["density"], None
    for s in net["guide"]:
        extra = s["extra_inertance_kg_m4"]
        for length, area, perimeter in stair(s):
            gamma, z0 = medium(air, f, s["flow_resistivity_pa_s_m2"], area, perimeter)
            line = line_of(f, length, gamma, z0, port)
            if extra:
                density = gamma * z0 * area / (2j * np.pi * f) if s["flow_resistivity_pa_s_m2"] > 0 else rho
                line = lumped(f, 2j * np.pi * f * extra / rho * density, 0.0, port) ** line
                extra = 0.0  # it stands at the inlet, once
            chain = line if chain is None else chain**line
    return chain


def radiation(acoustics: dict, w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the load on the mouth, that on the cone, and what each hears of the other."""
    net, rho, c = acoustics["network"], acoustics["air"]["density"], acoustics["air"]["speed"]
    mouth = net["mouth"]["area_m2"]
    mouth_radius, cone_radius = np.sqrt(mouth / np.pi), np.sqrt(net["driver"]["sd_m2"] / np.pi)
    ka = w / c * mouth_radius
    load = rho * c / mouth * (ka**2 / 2 + 1j * 0.8216 * ka)
    own = mutual = np.zeros_like(load)

    def heard(way: float, touching: float) -> np.ndarray:
        """A small source in a wall, heard from so far away, or through its mirror image; no nearer than touching."""
        resistance = rho * w**2 / (2 * np.pi * c) * np.sinc(w / c * way / np.pi)
        way = max(way, touching)
        return resistance + 1j * rho * w / (2 * np.pi * way) * np.cos(w / c * way)

    if net["spacing_m"] > 0:
        assert acoustics["space"] == "half"
        own = rho * w**2 / (2 * np.pi * c)
        mutual = heard(net["spacing_m"], mouth_radius + cone_radius)
    if net["mouth"]["end"] == "near-wall":
        near, far = net["mouth"]["wall_m"], net["cone_wall_m"] or net["mouth"]["wall_m"]
        load = load + heard(2 * near, 2 * mouth_radius)
        own = own + heard(2 * far, 2 * cone_radius).real
        mutual = mutual + heard(np.sqrt(net["spacing_m"] ** 2 + 4 * near * far), mouth_radius + cone_radius)
    else:
        assert net["mouth"]["end"] == "flanged"
    return load, own, mutual


def solve(acoustics: dict, f: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return sound pressure in Pa, peak excursion in mm and electrical impedance in ohm."""
    w, net, air = 2 * np.pi * f, acoustics["network"], acoustics["air"]
    d, rho = net["driver"], air["density"]
    port = rho * air["speed"] / net["mouth"]["area_m2"]
    beside, inlet = chamber_of(air, net, f, port)
    guide = guide_of(air, net, f, port)
    a = (guide if inlet is None else inlet**guide).a
    a11, a12, a21, a22 = a[:, 0, 0], a[:, 0, 1], a[:, 1, 0], a[:, 1, 1]
    load, own, mutual = radiation(acoustics, w)
    leak = 1 / net["leak_pa_s_m3"] if net["leak_pa_s_m3"] > 0 else 0.0
    # Of the cone's front flow 1: p = (a11 load + a12) U + a11 mutual in the chamber, and what goes in there is -1.
    inside, entering = a11 * load + a12, a21 * load + a22
    flow = -(1 + mutual * (a21 + a11 * (beside + leak))) / (entering + inside * (beside + leak))
    chamber = inside * flow + a11 * mutual
    electrical = d["re_ohm"] + 1j * w * d["le_h"]
    if d["l2_h"] > 0:
        electrical = electrical + 1 / (1 / (1j * w * d["l2_h"]) + 1 / d["r2_ohm"])
    mechanical = d["rms_kg_s"] + 1j * w * d["mms_kg"] + 1 / (1j * w * d["cms_m_n"])
    mechanical = mechanical + d["sd_m2"] ** 2 * (own + mutual * flow - chamber)
    u = d["bl_tm"] * acoustics["drive_volts"] / (electrical * mechanical + d["bl_tm"] ** 2)
    out = d["sd_m2"] * u * (1 + flow + chamber * leak)
    angle = {"half": 2 * np.pi, "full": 4 * np.pi}[acoustics["space"]]
    pressure = 1j * w * rho * out / (angle * acoustics["distance_m"])
    return pressure, np.sqrt(2) * abs(u) / w * 1e3, electrical + d["bl_tm"] ** 2 / mechanical


@pytest.fixture(scope="module")
def all_of_it() -> dict:
    """A network with all that a network can have, as a report writes it; invented."""
    from kerfwave.acoustics import complete, response
    from kerfwave.acoustics.air import air
    from kerfwave.model.acoustic import ChamberDuct, Mouth, Network, Segment
    from kerfwave.model.spec import Driver

    sizes = {"frame_mm": 93, "cutout_mm": 74, "bolt_circle_mm": 84, "depth_mm": 50, "xmax_mm": 2.5, "power_w": 15}
    sheet = Driver("any", 105.0, 22.0, 3.6, **sizes, qms=3.0, qes=0.7, vas_l=1.0, le_mh=0.05, l2_mh=0.3, r2_ohm=2.0)
    guide = (
        Segment("straight", 0.3, 18e-4, 18e-4, 0.2, 0.2, 0.0, 1000.0),
        Segment("bend", 0.05, 18e-4, 18e-4, 0.2, 0.2, -4.0, 1000.0),
        Segment("cone", 0.2, 18e-4, 24e-4, 0.2, 0.23),
        Segment("horn", 0.2, 24e-4, 36e-4, 0.23, 0.28, 3.0, 0.0, "exponential"),
    )
    duct = ChamberDuct(0.17, 42e-4, 0.26, 0.06, 0.15, 5.0)
    network = Network(
        complete(sheet, air()), 0.7e-3, 1500.0, guide, Mouth(36e-4, "near-wall", 0.05), 2e6, 0.24, 0.2, duct
    )
    f = tuple(np.geomspace(20, 2000, 100).tolist())
    return {
        "air": asdict(air()),
        "drive_volts": 2.0,
        "distance_m": 1.5,
        "space": "half",
        "network": asdict(network),
        "response": asdict(response(network, f, air(), 2.0, 1.5, "half")),
    }


@pytest.mark.parametrize("which", ["acoustics", "all_of_it"])
def test_level_excursion_and_impedance_come_out_the_same(which, request):
    """To 0.15 dB and 1.5 % from 40 Hz to 1 kHz: what is left is the exact wall loss against Kirchhoff's."""
    acoustics = request.getfixturevalue(which)
    reported = acoustics["response"]
    f = np.array(reported["frequency_hz"])
    keep = (f >= 40) & (f <= 1000)
    pressure, excursion, impedance = solve(acoustics, f[keep])
    level = 20 * np.log10(np.abs(pressure) / 20e-6)
    assert np.abs(level - np.array(reported["spl_db"])[keep]).max() < 0.15
    assert np.abs(excursion / np.array(reported["excursion_peak_mm"])[keep] - 1).max() < 0.015
    assert np.abs(np.abs(impedance) / np.array(reported["impedance_ohm"])[keep] - 1).max() < 0.015


def test_the_driver_set_is_consistent(acoustics):
    """Small 1972: fs, Qms, Qes and Vas from the mechanical values."""
    d, air = acoustics["network"]["driver"], acoustics["air"]
    ws = 1 / np.sqrt(d["mms_kg"] * d["cms_m_n"])
    assert ws / 2 / np.pi == pytest.approx(d["fs_hz"], rel=1e-6)
    assert ws * d["mms_kg"] / d["rms_kg_s"] == pytest.approx(d["qms"], rel=1e-6)
    assert ws * d["mms_kg"] * d["re_ohm"] / d["bl_tm"] ** 2 == pytest.approx(d["qes"], rel=1e-6)
    vas = air["density"] * air["speed"] ** 2 * d["sd_m2"] ** 2 * d["cms_m_n"]
    assert vas == pytest.approx(d["vas_m3"], rel=1e-6)


def test_group_delay_is_the_slope_of_the_recomputed_phase(acoustics):
    """By definition: minus the derivative of the phase by the angular frequency, here from points lying close."""
    f = np.geomspace(50, 700, 1501)
    pressure, _, _ = solve(acoustics, f)
    delay = -np.gradient(np.unwrap(np.angle(pressure)), 2 * np.pi * f) * 1e3
    reported = acoustics["response"]
    grid = np.array(reported["frequency_hz"])
    keep = (grid >= 60) & (grid <= 600)
    ours = np.array(reported["group_delay_ms"])[keep]
    assert np.abs(np.interp(grid[keep], f, delay) - ours).max() < 0.03 * np.abs(ours).max()
