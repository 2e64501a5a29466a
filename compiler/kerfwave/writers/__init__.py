"""Writers: frozen dataclasses in, the text of a file out. They compute nothing that a decision hangs on.

One module a kind of file: `drawings` (sheets, coupons, layers, the stack, the path inside), `charts`, `guide` (with
its words in `assembly`), `bill`, `report`, and the programs for the machine in `gcode`. `svg` and `words` hold what
they share. Every number passes through `kerfwave.numfmt.fixed`, every text that a person may have written is plain
text in what comes out, and the same values give the same bytes.

Nothing is imported here: the drawings need shapely and the guide needs jinja2, and whoever wants a report needs
neither.
"""
