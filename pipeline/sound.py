"""What a piece of sound is, everywhere in the product: float32 samples, -1..1, mono, 16,000 a second."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

RATE = 16_000

Samples: TypeAlias = npt.NDArray[np.float32]
