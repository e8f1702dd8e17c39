"""The arrays that are passed about, by what they hold; their shapes are told where they are used."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
RecordArray = npt.NDArray[np.void]
"""Rows of one of the program's dtypes, like WALKER or PULSES."""
