"""For every code a spec that earns it: pieces of the minimal spec replaced, or a whole text.

The exact rendering of each is in fixtures/expected/<code>.txt.
"""

Edit = tuple[str, str]

EDITS: dict[str, tuple[Edit, ...]] = {
    "K104": (("Shelf speaker", "Shelf\x1b[31m speaker"),),
    "K105": (("  qms: 3.0", "\tqms: 3.0"),),
    "K108": (("room:", "---\nroom:"),),
    "K109": (("  qes: 0.70", "  qms: 3.1\n  qes: 0.70"),),
    "K110": (("fs_hz: 105", "fs_hz: !!float 105"),),
    "K111": (("fs_hz: 105", "fs_hz: &f 105"), ("relief_from_hz: 70", "relief_from_hz: *f")),
    "K112": (("air_assist: true", "air_assist: yes"), ("passes: 8", "passes: 010"), ("depth_m: 5", "depth_m: 4:30")),
    "K113": (("fs_hz: 105", "fs_hz: .inf"),),
    "K115": (("  qes: 0.70", "  [qes, qms]: 0.70\n  qes: 0.70"),),
    "K116": (("Shelf speaker, invented", '"Shelf\\e[31m"'),),
    "K201": (("sd_cm2: 22", "sd_m2: 0.0022"), ("wavelength_nm: 450, s", "wavelenght_nm: 450, s")),
    "K202": (("  re_ohm: 3.6\n", ""), ("  - name: birch 6 mm\n    optical", "  - optical")),
    "K203": (
        ("height_mm: 260", "height_mm: 26 cm"),
        ("count: 40", "count: 1.5"),
        ("measured: false", "measured: 'false'"),
    ),
    "K204": (("sd_cm2: 22", "sd_cm2: 0.0022"), ("feed_mm_min: 250", "feed_mm_min: 4.2"), ("passes: 8", "passes: 80")),
    "K205": (("glue: muf\n  thickness", "glue: uff\n  thickness"),),
    "K206": (("material: birch-plywood\n  glue", "material: Birch Plywood\n  glue"),),
    "K207": (("bed_mm: [400, 400]", "bed_mm: [400]"),),
    "K208": (("back_mm: 240", "back_mm: 240\n    width_mm: 200"),),
    "K209": (("format: 1", "format: 2"),),
    "K401": (("qes: 0.70", "qes: 0.70\n  qts: 0.8"),),
    "K402": (("  vas_l: 1.0\n", ""),),
    "K403": (("cutout_mm: 72", "cutout_mm: 80"), ("sd_cm2: 22", "sd_cm2: 62")),
    "K404": (("band_from_hz: 70", "band_from_hz: 800"),),
    "K405": (("[5.9, 6.0, 5.95]", "[5.2, 5.3]"),),
    "K406": (("density_kg_m3: 680", "density_kg_m3: 680\n  edge_margin_mm: 50"), ("width_mm: 380", "width_mm: 90")),
    "K407": (("height_mm: 260", "height_mm: 260\n  separator_mm: 2.5"),),
    "K408": (("height_mm: 260", "height_mm: 80"), ("depth_mm: 200", "depth_mm: 50")),
    "K410": (("height_mm: 260", "height_mm: 260\n  mouth_face: rear"),),
    "K411": (("feed_mm_min: 250", "feed_mm_min: 5000"),),
    "K412": (("start: [G21 G90, G0 X0 Y0]", "start: [G20, G0 X500, M3 S1000, $H]"),),
    "K413": (("power_scale: 1000", "power_scale: 1000\n  air_on: M8"),),
    "K414": (("target:", "drive: {volts: 9}\ntarget:"),),
    "K417": (("material: birch-plywood\n  glue", "material: birch-plywod\n  glue"),),
    "K418": (("height_mm: 260", "height_mm: 260\n  case: vented\n  guide_least_mm: 900"),),
    "K419": (
        (
            "{width_mm: 380, height_mm: 380, count: 40, price: 4.5}",
            "{outline_mm: [[10, 0], [380, 200], [380, 0], [10, 200]], count: 1}",
        ),
    ),
    "K420": (
        ("price: 4.5}", "price: 4.5, keep_out: [{shape: circle, what: knot, x_mm: 420, y_mm: 90, diameter_mm: 20}]}"),
    ),
    "K422": (
        ("height_mm: 260", "height_mm: 260\n  plates_mm: 9"),
        (
            "price: 4.5}",
            "price: 4.5}\n    - {width_mm: 380, height_mm: 380, count: 2, thickness_mm: 4, measured_mm: 4}",
        ),
    ),
    "K421": (("height_mm: 260", "height_mm: 260\n  inset_fit: slide\n  fit_mm: 0.2"),),
    "K415": (("height_mm: 260", "height_mm: 260\n  terminals: {plate_width_mm: 30}"),),
}
_POLYGON = "shape: polygon\n    points_mm: [[0, 0], [150, 0], [0, 100], [150, 100]]\n    faces: [front, a, b, c]"
EDITS["K409"] = (("shape: trapezoid\n    front_mm: 150\n    back_mm: 240\n    depth_mm: 200", _POLYGON),)
_TWICE = """\
  - {name: birch 6 mm, optical_power_w: 3, wavelength_nm: 450, material: birch-plywood, glue: muf, thickness_mm: 4,
     air_assist: true, power_percent: 100, feed_mm_min: 300, passes: 9, kerf_mm: 0.2, provenance: {measured: true}}"""
EDITS["K416"] = (("room:", f"{_TWICE}\nroom:"),)

WHOLE: dict[str, str | bytes] = {
    "K102": b"# " + b"x" * (1 << 20),
    "K103": "name: Café\n".encode("latin-1"),
    "K106": "# nothing but a comment\n",
    "K107": "- format: 1\n- name: a list\n",
    "K114": "a: " + "[" * 30,
}
SHELF = ("K301", "K302", "K303", "K304")  # and K101: need files of their own, see test_codes
