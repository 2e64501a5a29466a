"""Many variants of one spec, each built up to a chosen stage, in one table.

`vary` reads which values to change and lists the variants, `variants` writes each as a spec of its own that needs no
shelf, `table` puts what came of them into rows. Who does the work, on this machine or on others, is the command's
affair; a variant's row depends on its text alone.
"""
