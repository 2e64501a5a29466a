"""Checks across keys that the samples do not show."""

import pytest

HEIGHT = "height_mm: 260"


def _codes(found):
    return [(finding.code, finding.level) for finding in found]


@pytest.mark.parametrize(
    ("qts", "expected"),
    [(0.5676, []), (0.59, []), (0.54, []), (0.61, [("K401", "warning")]), (0.51, [("K401", "warning")]),
     (0.66, [("K401", "error")]), (0.47, [("K401", "error")])],
)  # fmt: skip
def test_contradictions_up_to_5_percent_are_silent_and_above_15_an_error(findings, minimal, qts, expected):
    """Qts = 3.0 * 0.7 / 3.7 = 0.5676 by definition (Small 1972)."""
    found = findings(minimal.replace("qes: 0.70", f"qes: 0.70\n  qts: {qts}"))
    assert _codes(found) == expected
    for finding in found:
        assert finding.source_line == f"  qts: {qts}"
        assert f"{abs(100 * (qts / (2.1 / 3.7) - 1)):.0f}" in finding.message.replace(".", " ")


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ("mms_g: 6", "vas_l"),
        ("cms_mm_n: 3", "vas_l"),
        ("bl_tm: 9", "bl_tm"),
    ],
)
def test_other_contradictions_are_found_at_their_key(findings, minimal, more, key):
    found = findings(minimal.replace("qes: 0.70", f"qes: 0.70\n  {more}"))
    assert any(f.code == "K401" and f.source_line.strip().startswith(f"{key}:") for f in found)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("  qms: 3.0\n", "", [("K402", "error")]),
        ("qes: 0.70", "qts: 3.5", [("K402", "error")]),
        ("bolt_circle_mm: 79", "bolt_circle_mm: 90", [("K403", "error")]),
        ("power_w: 12", "power_w: 12\n  magnet_mm: 73", [("K403", "warning")]),
        ("relief_from_hz: 70", "relief_from_hz: 200", [("K404", "error")]),
        ("relief_from_hz: 70", "relief_from_hz: 70\n  excursion_mm: 3", [("K414", "warning")]),
        ("[5.9, 6.0, 5.95]", "6.38", []),
        ("[5.9, 6.0, 5.95]", "6.39", [("K405", "warning")]),
        ("[5.9, 6.0, 5.95]", "5.42", []),
        ("[5.9, 6.0, 5.95]", "5.41", [("K405", "warning")]),
        ("[5.9, 6.0, 5.95]", "0.6", [("K405", "error")]),
        (HEIGHT, f"{HEIGHT}\n  least_web_mm: 8", [("K407", "error")]),
        (HEIGHT, f"{HEIGHT}\n  wall_mm: 5\n  least_web_mm: 6\n", [("K407", "error")]),
        (HEIGHT, f"{HEIGHT}\n  wall_mm: 60\n  least_duct_mm: 90", [("K408", "error")]),
        (HEIGHT, f"{HEIGHT}\n  case: vented", []),
        (HEIGHT, f"{HEIGHT}\n  case: quarter-wave\n  guide_least_mm: 0", []),
        (HEIGHT, f"{HEIGHT}\n  case: vented\n  guide_least_mm: 700", [("K418", "error")]),
        (HEIGHT, f"{HEIGHT}\n  case: closed", []),
        (HEIGHT, f"{HEIGHT}\n  mouth_face: front\nlistening: {{mounting: in-wall}}", []),
        (HEIGHT, f"{HEIGHT}\n  case: closed\nlistening: {{mounting: in-wall}}", []),
        (HEIGHT, f"{HEIGHT}\nlistening: {{mounting: in-wall}}", [("K418", "error")]),
        (HEIGHT, f"{HEIGHT}\nlistening: {{mounting: in-wall, space: full}}", [("K418", "error")]),
        (HEIGHT, f"{HEIGHT}\n  case: closed\n  mouth_face: left", [("K418", "warning")]),
        (HEIGHT, f"{HEIGHT}\n  foot_mm: 12\n  hang_screw_mm: 4", []),
        (HEIGHT, f"{HEIGHT}\n  stack: facing\n  hang_screw_mm: 4", []),
        (HEIGHT, f"{HEIGHT}\n  stack: facing\n  foot_mm: 12", [("K418", "error")]),
        (HEIGHT, f"{HEIGHT}\n  hang_screw_mm: 4\n  terminal_face: back", [("K418", "error")]),
        (
            HEIGHT,
            f"{HEIGHT}\n  mouth_face: front\n  hang_screw_mm: 4\nlistening: {{mounting: in-wall}}",
            [("K418", "error")],
        ),
        ("measured_mm: [5.9, 6.0, 5.95]", "measured_mm: [5.9, 6.0]\n  tolerance_mm: 0.2", []),
        ("measured_mm: [5.9, 6.0, 5.95]", "measured_mm: [5.9, 6.0]\n  tolerance_mm: 2.5", [("K405", "error")]),
        ("price: 4.5}", "price: 4.5, measured_mm: 6.1, layers: 4}", []),
        ("price: 4.5}", "price: 4.5, measured_mm: [3.0, 3.1]}", [("K405", "error")]),
        ("price: 4.5}", "price: 4.5, thickness_mm: 4}", [("K422", "error"), ("K405", "error"), ("K422", "warning")]),
        ("qes: 0.70", "qes: 0.70\n  l2_mh: 0.2\n  r2_ohm: 2", []),
        ("qes: 0.70", "qes: 0.70\n  l2_mh: 0.2", [("K402", "error")]),
        ("qes: 0.70", "qes: 0.70\n  r2_ohm: 2", [("K402", "error")]),
        ("  vas_l: 1.0\n", "  bl_tm: 2.3\n", []),
        (HEIGHT, f"{HEIGHT}\n  stack: facing", []),
        (HEIGHT, "height_mm: 50\n  stack: facing", [("K408", "error")]),
        (HEIGHT, f"{HEIGHT}\n  terminal_face: left", []),
        (HEIGHT, f"{HEIGHT}\n  terminal_face: lefd", [("K410", "error")]),
        (HEIGHT, f"{HEIGHT}\n  terminals: {{plate_height_mm: 11}}", [("K415", "error")]),
        ("rapid_feed_mm_min: 6000", "rapid_feed_mm_min: 2000", [("K413", "warning")]),
        ("power_scale: 1000", "power_scale: 1", [("K413", "warning")]),
        ("power_scale: 1000", "power_scale: 1000\n  air_off: M9", [("K413", "error")]),
        ("    optical_power_w: 5.5", "    optical_power_w: 10", [("K411", "warning")]),
        ("thickness_mm: 6\n    air", "thickness_mm: 4\n    air", []),
        ("end: [M5, G0 X0 Y0, M2]", "end: ['M5 (off)']", [("K412", "error")]),
        ("room:", "room:\n  eyewear: {from_nm: 600, to_nm: 400}", [("K404", "error")]),
        ("room:", "listening: {distance_m: 1.5}\nroom:", []),
    ],
)
def test_sense(findings, minimal, old, new, expected):
    assert minimal.count(old) == 1
    found = findings(minimal.replace(old, new))
    assert _codes(found) == expected


def test_a_recipe_that_is_too_fast_and_would_not_be_used_is_a_warning(findings, minimal):
    text = minimal.replace("feed_mm_min: 250", "feed_mm_min: 5000").replace(
        "thickness_mm: 6\n    air", "thickness_mm: 4\n    air"
    )
    assert _codes(findings(text)) == [("K411", "warning")]


def test_a_word_of_a_start_line_is_marked_in_a_block_list_too(findings, minimal):
    text = minimal.replace("start: [G21 G90, G0 X0 Y0]", "start:\n    - G21 G90\n    - 'G0 X0 M3'")
    (finding,) = findings(text)
    assert finding.source_line[finding.column - 1 :][: finding.length] == "M3"


def test_an_escaped_start_line_is_marked_as_a_whole(findings, minimal):
    (finding,) = findings(minimal.replace("start: [G21 G90, G0 X0 Y0]", r'start: ["\x4d3"]'))
    assert finding.source_line[finding.column - 1 :][: finding.length] == r'"\x4d3"'


def test_a_polygon_that_is_wrong_is_told_at_its_corner(findings, minimal):
    trapezoid = "shape: trapezoid\n    front_mm: 150\n    back_mm: 240\n    depth_mm: 200"
    polygon = "shape: polygon\n    points_mm:\n      - [0, 0]\n      - [150, 0]\n      - [150, 0.1]\n      - [0, 150]\n"
    text = minimal.replace(trapezoid, f"{polygon}    faces: [front, a, b, c]")
    (finding,) = findings(text)
    assert (finding.code, finding.source_line) == ("K409", "      - [150, 0]")
    (finding,) = findings(
        text.replace("0.1]", "150]").replace("faces: [front, a, b, c]", "faces: [front, a, front, c]")
    )
    assert (finding.code, finding.column) == ("K410", 23)
    assert findings(text.replace("0.1]", "150]")) == ()
