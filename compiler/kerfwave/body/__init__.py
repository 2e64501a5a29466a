"""The body: a plan, air folded into it, and the wood that is left, layer by layer.

Millimetres throughout. z is the stacking axis and layer 1 lies at z = 0. The order of the rooms is the order of
the work: `path` (a centreline and what it sweeps), `lanes`, `places` and `fold` (a guide that fits a plan), `search` (all that
do), `air` (everything that is
not wood, as prisms), `insets` (what stands across the layers), `slices` (wood = plan - air), `checks`.
"""
