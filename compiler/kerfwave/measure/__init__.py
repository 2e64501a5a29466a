"""The measuring room: what the bench hands back, turned into numbers that can be laid beside the prediction.

Pure functions from arrays and frozen dataclasses to frozen dataclasses: plain columns (`columns`), exponential sine
sweeps and what a recording of one tells (`sweep`, `deconvolve`, `reading`, `distortion`), the response laid over
the promise (`response`), impedance and its fits. Import from the module that a thing lives in: columns do without
numpy, the rest does not.
"""
