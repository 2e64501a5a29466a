"""For tests of every room: helpers that stand in this folder can be imported, and no property test is timed."""

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

settings.register_profile("kerfwave", deadline=None)
settings.load_profile("kerfwave")
