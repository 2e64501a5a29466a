"""The response in the demo's report, computed again from the report's own network by independent means.

Sources: transmission-line theory as scikit-rf implements it (lines, series and shunt elements cascaded as
S-parameters; published, BSD-licensed, version in the test extra); wall loss by Kirchhoff's wide-duct formula as in
Kinsler et al. (textbook); fibre by Miki 1990 (coefficients published); flanged end by its low-frequency limit
0.8216 a and (ka)^2/2 (Norris and Sheng 1989); driver as R. H. Small 1972 has it. None of Kerfwave's acoustics is used.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
import skrf

MU, GAMMA, PRANDTL = 1.81e-5, 1.4, 0.71  # air near 20 C, common practice to this precision


@pytest.fixture(scope="module")
def acoustics(demo_package) -> dict:
    return json.loads((demo_package / "report.json").read_text("utf-8"))["acoustics"]


def solve(acoustics: dict, f: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return sound pressure in Pa, peak excursion in mm and electrical impedance in ohm."""
    w, net = 2 * np.pi * f, acoustics["network"]
    rho, c, d = acoustics["air"]["density"], acoustics["air"]["speed"], net["driver"]
    frequency = skrf.Frequency.from_f(f, unit="Hz")

    def medium(sigma: float, area: float, perimeter: float):
        if sigma > 0:
            y = f / sigma
            z = rho * c * (1 + 0.0699 * y**-0.632 - 0.1071j * y**-0.632)
            k = w / c * (1 + 0.1093 * y**-0.618 - 0.1597j * y**-0.618)
            return 1j * k, z / area
        loss = perimeter / (2 * area) * np.sqrt(MU * w / (2 * rho)) * (1 + (GAMMA - 1) / np.sqrt(PRANDTL)) / c
        return loss + 1j * (w / c + loss), np.full_like(f, rho * c / area, dtype=complex)

    chain = None
    for s in net["guide"]:
        area, perimeter = (s["area_in_m2"] + s["area_out_m2"]) / 2, (s["perimeter_in_m"] + s["perimeter_out_m"]) / 2
        gamma, z0 = medium(s["flow_resistivity_pa_s_m2"], area, perimeter)
        port = rho * c / area
        media = skrf.media.DefinedGammaZ0(frequency, z0=z0, gamma=gamma)
        line = media.line(s["length_m"], unit="m", z0=z0)
        line.renormalize(port)
        if s["extra_inertance_kg_m4"]:
            # A series impedance; as ABCD, so that a negative inertance is no trouble.
            a = np.tile(np.eye(2, dtype=complex), (len(f), 1, 1))
            a[:, 0, 1] = 1j * w * s["extra_inertance_kg_m4"]
            lump = skrf.Network(
                frequency=frequency, s=skrf.network.a2s(a, np.full((len(f), 2), port, dtype=complex)), z0=port
            )
            line = lump**line
        chain = line if chain is None else chain**line
    a = chain.a
    mouth = net["mouth"]["area_m2"]
    radius = np.sqrt(mouth / np.pi)
    ka = w / c * radius
    load = rho * c / mouth * (ka**2 / 2 + 1j * 0.8216 * ka)
    guide_in = (a[:, 0, 0] * load + a[:, 0, 1]) / (a[:, 1, 0] * load + a[:, 1, 1])
    # p2 / p1 of the chain, then the flow through the mouth.
    transfer = load / (a[:, 0, 0] * load + a[:, 0, 1])

    sigma = net["chamber_flow_resistivity_pa_s_m2"]
    modulus = np.full_like(f, rho * c**2, dtype=complex)
    if sigma > 0:
        gamma, z = medium(sigma, 1.0, 0.0)
        modulus = z * w / (-1j * gamma)
    rear = 1 / (1j * w * net["chamber_m3"] / modulus + 1 / guide_in)
    volts = acoustics["drive_volts"]
    electrical = d["re_ohm"] + 1j * w * d["le_h"]
    mechanical = d["rms_kg_s"] + 1j * w * d["mms_kg"] + 1 / (1j * w * d["cms_m_n"]) + d["sd_m2"] ** 2 * rear
    u = d["bl_tm"] * volts / (electrical * mechanical + d["bl_tm"] ** 2)
    out = d["sd_m2"] * u
    mouth_flow = -out * rear * transfer / load
    angle = {"half": 2 * np.pi, "full": 4 * np.pi}[acoustics["space"]]
    pressure = 1j * w * rho * (out + mouth_flow) / (angle * acoustics["distance_m"])
    return (
        pressure,
        np.sqrt(2) * abs(u) / w * 1e3,
        electrical + d["bl_tm"] ** 2 / mechanical,
    )


def test_level_excursion_and_impedance_come_out_the_same(acoustics):
    """To 0.15 dB and 1.5 % from 40 Hz to 1 kHz: what is left is the exact wall loss against Kirchhoff's."""
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
    f = np.geomspace(50, 700, 6001)
    pressure, _, _ = solve(acoustics, f)
    delay = -np.gradient(np.unwrap(np.angle(pressure)), 2 * np.pi * f) * 1e3
    reported = acoustics["response"]
    grid = np.array(reported["frequency_hz"])
    keep = (grid >= 60) & (grid <= 600)
    ours = np.array(reported["group_delay_ms"])[keep]
    assert np.abs(np.interp(grid[keep], f, delay) - ours).max() < 0.03 * np.abs(ours).max()
