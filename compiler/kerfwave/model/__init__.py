"""The nouns that every room shares: what a person wrote, and the parts that come of it.

Frozen dataclasses of scalars, tuples and such dataclasses, nothing else: they hash, they compare, and the
engine can write any of them to JSON and read it back. No arithmetic lives here.
"""
