"""The arrays that are passed about, by what they hold; their shapes are told where they are used."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
IndexArray = npt.NDArray[np.int32]
"""Numbers of walkers, of which many are kept."""
CountArray = npt.NDArray[np.int16]
BoolArray = npt.NDArray[np.bool_]
RecordArray = npt.NDArray[np.void]
"""Rows of one of the program's dtypes, like WALKER or PULSES."""
