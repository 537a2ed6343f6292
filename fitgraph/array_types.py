"""Arrays by what is in them, as every room names them."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

#: Places and numbers of things.
Ints: TypeAlias = npt.NDArray[np.intp]

#: Figures, each with the unit that whoever takes them says.
Floats: TypeAlias = npt.NDArray[np.float64]

#: Yes or no, thing by thing.
Bools: TypeAlias = npt.NDArray[np.bool_]
