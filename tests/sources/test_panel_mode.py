"""Plate modes against a handbook.

Source: A. W. Leissa, Vibration of Plates, NASA SP-160 (1969): for a simply supported plate
omega a^2 sqrt(rho h / D) = pi^2 (1 + (a / b)^2); the tabulated square plate has 19.739 (value from memory, and the
algebra recomputed here from the sine mode by Rayleigh's quotient).
"""

import math

import numpy as np
import pytest

from bodies import made, trapezoid
from kerfwave.body.strength import POISSON, check_panels, panel_mode_hz


@pytest.mark.parametrize(
    ("ratio", "number"), [(1.0, 19.7392), (1.5, 32.0762), (2.5, 71.5546), (2 / 3, 14.2561), (0.4, 11.4487)]
)
def test_frequency_parameters(ratio, number):
    """Leissa's table for a / b = 0.4, 2/3, 1, 1.5, 2.5."""
    a, h, e, rho = 0.25, 0.004, 7e9, 600.0
    stiffness = e * h**3 / (12 * (1 - POISSON**2))
    f = panel_mode_hz(a, a / ratio, h, e, rho)
    assert 2 * math.pi * f * a**2 * math.sqrt(rho * h / stiffness) == pytest.approx(number, rel=1e-4)


def test_rayleighs_quotient_of_the_sine_mode():
    """Energy of bending over energy of motion of sin(pi x / a) sin(pi y / b), integrated numerically."""
    a, b, h, e, rho = 0.2, 0.13, 0.006, 6e9, 650.0
    stiffness = e * h**3 / (12 * (1 - POISSON**2))
    x, y = np.meshgrid((np.arange(400) + 0.5) / 400 * a, (np.arange(400) + 0.5) / 400 * b)
    w = np.sin(np.pi * x / a) * np.sin(np.pi * y / b)
    laplace = -((np.pi / a) ** 2 + (np.pi / b) ** 2) * w
    omega2 = stiffness * (laplace**2).mean() / (rho * h * (w**2).mean())
    assert panel_mode_hz(a, b, h, e, rho) == pytest.approx(math.sqrt(omega2) / 2 / math.pi, rel=1e-9)


def test_a_body_says_which_panel_is_lowest():
    body, *_ = made(trapezoid(186, 156, 212))
    told = check_panels(body, 670.0, None, None)
    assert told.level == "ok" and told.value is not None and "GPa" in told.text
    assert check_panels(body, 670.0, 9.0, told.value * 2).level == "fail"
    stiffer = check_panels(body, 670.0, 9.0, None)
    assert stiffer.value == pytest.approx(told.value * math.sqrt(9 / 6), rel=1e-3)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        panel_mode_hz(0.2, 0.0, 0.006, 6e9, 650.0)
