"""Random sets of pieces and sheets for the nesting tests."""

from hypothesis import strategies as st
from shapely.geometry import MultiPoint

from kerfwave.model.spec import KeepOut, SheetStock
from nest_samples import disc, ell, hole, piece, rectangle

BED = (400.0, 400.0)
whole = st.integers(8, 120).map(float)
odd = st.floats(8, 120, allow_nan=False)
sides = st.one_of(whole, odd)


@st.composite
def outlines(draw):
    kind = draw(st.sampled_from(["rectangle", "ell", "ring", "disc", "hull"]))
    w, h = draw(sides), draw(sides)
    limb = min(w, h) * draw(st.floats(0.1, 0.45))
    if kind == "rectangle":
        return (rectangle(w, h),)
    if kind == "ell":
        return (ell(w, h, limb),)
    if kind == "ring":
        return rectangle(w, h), hole(w - 2 * limb, h - 2 * limb, limb, limb)
    if kind == "disc":
        return disc(w / 2), disc(limb / 2)[::-1]
    points = draw(st.lists(st.tuples(sides, sides), min_size=4, max_size=9))
    hull = MultiPoint([*points, (0.0, 0.0), (w, 0.0), (0.0, h)]).convex_hull.normalize()
    return (tuple(hull.exterior.coords[:-1])[::-1],)


@st.composite
def jobs(draw):
    shapes = draw(st.lists(outlines(), min_size=1, max_size=9))
    shapes += draw(st.lists(st.sampled_from(shapes), max_size=4))  # equal pieces are the usual case
    pieces = tuple(
        piece(
            f"p{k:02d}",
            *rings,
            grain=draw(st.sampled_from([None, None, "x", "y"])),
            x=draw(st.sampled_from([0.0, -37.5, 11.1234567])),
            y=draw(st.sampled_from([0.0, 220.25])),
        )
        for k, rings in enumerate(shapes)
    )
    sheet = draw(st.sampled_from([(400.0, 400.0), (300.0, 400.0), (180.5, 222.25), (600.0, 260.0)]))
    sheets = (SheetStock(*sheet, 14), SheetStock(200.0, 150.0, draw(st.integers(0, 2))))
    rules = {
        "bed_mm": BED,
        "margin_mm": draw(st.sampled_from([0.0, 5.0, 3.3337])),
        "spacing_mm": draw(st.sampled_from([0.0, 0.4, 2.0, 3.7])),
        "sheet_grain": draw(st.sampled_from([None, "x", "y"])),
    }
    return pieces, sheets, rules


@st.composite
def places(draw):
    x, y, size = draw(st.floats(-10, 300)), draw(st.floats(-10, 300)), draw(st.floats(1, 60))
    shape = draw(st.sampled_from(["circle", "rectangle", "polygon"]))
    what = draw(st.sampled_from(["knot", "clamp", "magnet"]))
    clearance = draw(st.sampled_from([None, 0.0, 3.3]))
    if shape == "circle":
        return KeepOut(shape, what, x, y, diameter_mm=size, clearance_mm=clearance)
    if shape == "rectangle":
        return KeepOut(shape, what, x, y, width_mm=size, height_mm=size / 2, clearance_mm=clearance)
    return KeepOut(shape, what, points_mm=((x, y), (x + size, y + 5), (x + 7, y + size)), clearance_mm=clearance)


@st.composite
def offcuts(draw):
    """Sheets of any outline, convex or with a bite taken out of a corner, the box around them at the origin."""
    w, h = draw(st.floats(120, 420)), draw(st.floats(120, 420))
    bite = (draw(st.floats(0.2, 0.6)) * w, draw(st.floats(0.2, 0.6)) * h)
    slant = draw(st.floats(0, 0.4)) * w
    outline = draw(
        st.sampled_from(
            [
                None,
                ((0.0, 0.0), (w, 0.0), (w, h - bite[1]), (w - bite[0], h - bite[1]), (w - bite[0], h), (0.0, h)),
                ((slant, 0.0), (w, bite[1]), (w - slant, h), (0.0, h / 2)),
                ((0.0, h), (w, h), (w - bite[0], 0.0), (slant / 2, bite[1])),  # clockwise, as a person may list it
            ]
        )
    )
    kept = tuple(draw(st.lists(places(), max_size=3)))
    return SheetStock(w, h, draw(st.integers(1, 3)), outline_mm=outline, keep_out=kept)
