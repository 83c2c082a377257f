"""Makes the made-up comparison of the unit tests available here."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))
