"""Arrays by what they hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Flags = NDArray[np.bool_]
Index = NDArray[np.int64]
