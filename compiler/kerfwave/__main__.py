"""`python -m kerfwave`."""

import sys

from kerfwave.cli import main

sys.exit(main())
