"""A published claim about damped lines, over invented drivers.

G. L. Augspurger, "Loudspeakers on Damped Pipes", JAES 48 (2000) 424, abstract (published): a transmission line can
match the response and efficiency of a comparable closed box, with less excursion of the cone. Its own figures were not
seen; what follows is recomputed, with drivers and lines of our own invention. Comparable means: the same driver, the
same volume of air inside, the same drive, half space. Match means: within 1.5 dB from the closed box's -3 dB frequency
f3 to ten times that.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete
from kerfwave.acoustics.network import responses
from kerfwave.model.acoustic import Mouth, Network, Segment
from kerfwave.model.spec import Driver

AIR = air()
DOCS = Path(__file__).parents[2] / "docs" / "physics.md"
QTC = 0.8  # of the closed box; its f3 is then 0.89716 fc (R. H. Small 1972)
SIZES = {"frame_mm": 93, "cutout_mm": 74, "bolt_circle_mm": 84, "depth_mm": 50, "xmax_mm": 3, "power_w": 15}

# Driver: fs, Sd, Re, Qms, Qes, Vas. Line: chamber's share of the air, guide in m, area out / in, Pa s/m^2 all along.
# Then in dB: greatest departure from the closed box's level; less of the greatest excursion from f3 up; least and mean
# difference of the excursions from f3 to 2 f3; the same at 0.7 f3.
TABLE = [
    ("57 mm", (130, 14, 3.8, 3.5, 0.75, 0.45), (0.25, 0.57, 1.6, 1600), (1.45, 3.50, 0.23, 2.15, 4.32)),
    ("75 mm", (105, 22, 3.6, 3.0, 0.70, 1.0), (0.25, 0.55, 2.0, 1600), (1.42, 4.53, 0.72, 2.60, 5.58)),
    ("100 mm", (75, 50, 6.2, 4.0, 0.55, 4.2), (0.30, 0.58, 2.0, 1600), (1.40, 4.95, 0.61, 2.62, 6.07)),
    ("130 mm", (55, 88, 5.6, 3.2, 0.45, 11.0), (0.35, 0.73, 2.0, 800), (1.42, 4.98, 0.63, 2.59, 7.29)),
    ("165 mm", (40, 132, 5.6, 3.85, 0.42, 28.0), (0.30, 0.91, 1.25, 800), (1.46, 5.12, 1.33, 2.98, 6.65)),
]


def pair(sheet, line):
    """Return the line, the closed box with as much air in it, and the latter's f3."""
    fs, sd, re, qms, qes, vas = sheet
    driver = complete(Driver("invented", fs, sd, re, **SIZES, qms=qms, qes=qes, vas_l=vas), AIR)
    volume = driver.vas_m3 / ((QTC / driver.qts) ** 2 - 1)
    share, length, taper, resistivity = line
    inlet = 3 * volume * (1 - share) / length / (1 + taper + math.sqrt(taper))  # a cone's volume
    outlet = taper * inlet
    sides = (5 * math.sqrt(inlet), 5 * math.sqrt(outlet))  # perimeters of 1 to 4
    guide = Segment("guide", length, inlet, outlet, *sides, 0.0, resistivity)
    line_network = Network(driver, share * volume, 0.0, (guide,), Mouth(outlet, "flanged"))
    return line_network, Network(driver, volume), 0.89716 * driver.fs_hz * QTC / driver.qts


def figures(sheet, line):
    network, closed, f3 = pair(sheet, line)
    f = np.geomspace(f3, 10 * f3, 81)
    both = responses((network, closed), (0.7 * f3, *f), AIR, 2.0, 1.0, "half")
    level, excursion = both.spl_db[:, 1:], both.excursion_peak_mm[:, 1:]
    relief = 20 * np.log10(excursion[1] / excursion[0])
    low = f <= 2 * f3
    return (
        np.abs(level[0] - level[1]).max(),
        20 * np.log10(excursion[1].max() / excursion[0].max()),
        relief[low].min(),
        relief[low].mean(),
        20 * np.log10(both.excursion_peak_mm[1, 0] / both.excursion_peak_mm[0, 0]),
    )


@pytest.mark.parametrize(("name", "sheet", "line", "known"), TABLE)
def test_a_line_matches_the_closed_box_with_less_excursion(name, sheet, line, known):
    departure, of_greatest, least, mean, below = figures(sheet, line)
    assert departure < 1.5
    assert of_greatest > 3.0
    assert least > 0.0
    assert mean > 2.0
    assert (departure, of_greatest, least, mean, below) == pytest.approx(known, abs=0.01)


def test_without_fibre_there_is_no_match():
    """The fibre is what makes it a match: without, the line's resonances throw the response about by 10 dB and more."""
    for _, sheet, (share, length, taper, _), _ in TABLE:
        assert figures(sheet, (share, length, taper, 0.0))[0] > 10.0


def test_the_closed_box_is_3_db_down_at_f3():
    _, closed, f3 = pair(*TABLE[1][1:3])
    level = responses((closed,), (f3, 40 * f3), AIR, 2.0, 1.0, "half").spl_db[0]
    assert level[0] - level[1] == pytest.approx(-3.01, abs=0.01)


def row(name, sheet, line):
    """Return a driver's row of the table in the documentation."""
    fs, sd, _, _, _, vas = sheet
    share, length, taper, resistivity = line
    _, closed, f3 = pair(sheet, line)
    departure, of_greatest, least, mean, below = figures(sheet, line)
    return (
        f"| {name}: {fs:g} Hz, {sd:g} cm², {vas:g} l | {1e3 * closed.chamber_m3:.2f} l | {f3:.0f} Hz "
        f"| {share:.2f}, {length:.2f} m, {taper:g}, {resistivity} | {departure:.1f} dB | {of_greatest:.1f} dB "
        f"| {least:.1f} dB | {mean:.1f} dB | {below:.1f} dB |"
    )


def test_the_table_in_the_documentation_is_what_comes_out():
    text = DOCS.read_text("utf-8")
    for name, sheet, line, _ in TABLE:
        assert row(name, sheet, line) in text
