"""The types that go through the whole program, each by one name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Numbers, in most places with the draws on the last axis.
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: Figures of every draw by the dotted key of their input.
Values = Mapping[str, Floats]
#: What a result says, as `result.json` holds it.
Figures = Mapping[str, Any]
