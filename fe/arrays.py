"""What arrays of numbers are called in annotations; their shapes stand in docstrings."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.signedinteger[Any]]
"""Of any width: indices have 64 bits, states of links 8."""
BoolArray = NDArray[np.bool_]
