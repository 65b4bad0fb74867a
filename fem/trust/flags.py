"""The type of what is true or false of each point."""

from typing import Any

import numpy as np

Flags = np.ndarray[Any, np.dtype[np.bool_]]
"""Truth values; the docstrings give their shapes."""
