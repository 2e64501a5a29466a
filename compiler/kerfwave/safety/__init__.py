"""What makes this job safe: laser light, fume, fire, materials, sound, electricity and handling.

Pure functions from one frozen `Job` to a tuple of `SafetyLine`. Every line carries its number, unit, formula with the
inputs put in, limit, source and status. What is not known is never a pass. The result is a screening estimate that
defers to local codes, licensed practice and the machine maker's manual; `docs/safety.md` tells the method and its
limits.
"""

from kerfwave.safety.assess import assess, outcome
from kerfwave.safety.job import Job
from kerfwave.safety.materials import MATERIALS, Material, find

__all__ = ["MATERIALS", "Job", "Material", "assess", "find", "outcome"]
