"""Types of NumPy arrays; the docstrings give their shapes."""

from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[np.float64]]
"""Real numbers."""

Index = np.ndarray[Any, np.dtype[np.integer[Any]]]
"""Integers: counts and indices."""

Mask = np.ndarray[Any, np.dtype[np.bool_]]
"""Booleans."""
