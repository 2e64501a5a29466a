"""What every test of this room speaks of: one air, one invented driver."""

import pytest

from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete
from kerfwave.model.spec import Driver


@pytest.fixture(scope="session")
def medium():
    return air()


@pytest.fixture(scope="session")
def sheet():
    """A data sheet of our own invention."""
    return Driver(
        name="invented three inch",
        fs_hz=105.0,
        sd_cm2=22.0,
        re_ohm=3.6,
        frame_mm=93,
        cutout_mm=74,
        bolt_circle_mm=84,
        depth_mm=50,
        xmax_mm=2.5,
        power_w=15,
        qms=3.0,
        qes=0.70,
        vas_l=1.0,
        le_mh=0.1,
    )


@pytest.fixture(scope="session")
def driver(sheet, medium):
    return complete(sheet, medium)
