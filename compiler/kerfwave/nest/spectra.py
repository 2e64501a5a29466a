"""Fourier transforms of cells, in single precision.

SciPy's are loaded when the first is taken: that is a good part of a second, which a build whose nest is known spares.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from kerfwave.nest.raster import Cells

Spectrum = npt.NDArray[np.complex64]


def quick_size(shape: Iterable[int], bucket: int = 1) -> tuple[int, ...]:
    """Return a shape no smaller, whose transform is quick; sides are rounded up to a multiple of `bucket` first."""
    from scipy import fft

    return tuple(fft.next_fast_len(-(-n // bucket) * bucket, real=True) for n in shape)


def forward(cells: Cells, size: tuple[int, ...]) -> Spectrum:
    """Return the transform of cells, zeros added up to `size`."""
    from scipy import fft

    return np.asarray(fft.rfft2(cells.astype(np.float32), size))


def back(spectrum: Spectrum, size: tuple[int, ...]) -> npt.NDArray[np.float32]:
    """Return what has this transform."""
    from scipy import fft

    return np.asarray(fft.irfft2(spectrum, size))
