"""For all tests: `buttress compare` starts no processes of its own, since tests share the cores."""

from __future__ import annotations

import os

os.environ["BUTTRESS_WORKERS"] = "1"
