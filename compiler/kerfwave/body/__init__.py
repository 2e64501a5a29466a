"""The body: a plan, air folded into it, and the wood that is left, layer by layer.

Millimetres throughout. z is the stacking axis and layer 1 lies at z = 0. The order of the rooms is the order of
the work: `rules` (sizes that follow from driver and sheet), `path` (a centreline and what it sweeps), `storeys` (which
layers hold which stretch of it, and the passages between), `lanes`, `places`, `fold` and `search` (guides that fit a
plan), `air` (everything that is not wood, as prisms), `recess`, `wire` and `lips` (more of it, if asked for), `dowels`
and `insets` (what lines the layers up, what stands across them, with the plays of `fits`), `slices` (wood = plan -
air), `splitting`, `pairs` and `marks` (what becomes of the pieces), `measure` (what was really built), and what judges
it: `checks`, `seams`, `reach` and `strength`.
"""
