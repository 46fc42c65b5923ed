"""The linear core: a Gaussian over the sump's quantities, moved through time and told numbers.

No sump in here: rows, rates and variances come from `balance` and `observation`. Every function
is straight-line arithmetic on arrays that it changes in place; `unpack` hands out fresh ones.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Vector: TypeAlias = NDArray[np.float64]
Matrix: TypeAlias = NDArray[np.float64]

_DOUBLES = np.dtype("<f8")


def pack(array: Vector | Matrix) -> bytes:
    """Doubles as bytes, little end first: exact, and cheap to keep in a plain value."""
    return array.astype(_DOUBLES, copy=False).tobytes()


def unpack(packed: bytes) -> Vector:
    """Fresh array of the doubles that `pack` was given, flat."""
    return np.frombuffer(packed, dtype=_DOUBLES).astype(np.float64)


def move(mean: Vector, cov: Matrix, block: Matrix, decay: Vector, noise: Matrix) -> None:
    r"""Predict: :math:`x \leftarrow F x,\; P \leftarrow F P F^T + Q`.

    `F` is `block` on the first entries and the diagonal `decay` everywhere (applied after it); `Q`
    is `noise` on the leading square of its own size.

    Parameters
    ----------
    mean : shape (n,)
        Changed in place. [its own unit]
    cov : shape (n, n)
        Symmetric; changed in place. [its own unit]
    block : shape (m, m), m <= n
        Transition of the entries that feed one another. [its own unit]
    decay : shape (n,)
        Factor by which each entry shrinks. [1]
    noise : shape (q, q), q <= n
        Covariance that the time adds. [its own unit]

    References
    ----------
    .. [1] R. E. Kalman, "A New Approach to Linear Filtering and Prediction Problems", Journal of
       Basic Engineering 82 (1960) 35-45.
    """
    m, q = len(block), len(noise)
    mean[:m] = block @ mean[:m]
    mean *= decay
    cov[:m] = block @ cov[:m]
    cov[:, :m] = cov[:, :m] @ block.T
    cov *= decay
    cov *= decay[:, None]
    cov[:q, :q] += noise


def project(cov: Matrix, places: list[int], weights: Vector) -> tuple[Vector, float]:
    """Covariance of every entry with the weighted sum of some, and that sum's variance.

    Parameters
    ----------
    cov : shape (n, n)
        Symmetric. [its own unit]
    places : list of int
        Entries in the sum. [1]
    weights : shape (len(places),)
        Their weights. [its own unit]

    Returns
    -------
    spread : shape (n,)
        Covariance with the sum. [its own unit]
    variance : float
        Of the sum. [its own unit]
    """
    spread = weights @ cov[places]
    return spread, float(spread[places] @ weights)


def learn(mean: Vector, cov: Matrix, spread: Vector, variance: float, surprise: float) -> Vector:
    r"""Update by one scalar measurement: :math:`x \leftarrow x + K\nu,\; P \leftarrow P - K S K^T`.

    `K S K^T` is formed as one outer product, so that `cov` stays symmetric to the last bit.

    Parameters
    ----------
    mean, cov : shape (n,), (n, n)
        Changed in place. [its own unit]
    spread : shape (n,)
        Covariance of the entries with the measured sum (`project`). [its own unit]
    variance : float
        Of the surprise: that of the sum and that of the measurement; positive. [its own unit]
    surprise : float
        Measured less expected. [its own unit]

    Returns
    -------
    gain : shape (n,)
        What each entry takes of the surprise. [its own unit]
    """
    gain = spread / variance
    mean += gain * surprise
    root = spread / variance**0.5
    cov -= np.multiply.outer(root, root)
    return gain


def shock(mean: Vector, cov: Matrix, shape: Vector, size: float, variance: float) -> None:
    """Add one independent random amount to several entries at once.

    Parameters
    ----------
    mean, cov : shape (n,), (n, n)
        Changed in place. [its own unit]
    shape : shape (n,)
        What a unit of the amount does to each entry. [its own unit]
    size, variance : float
        The amount's expectation and variance. [its own unit]
    """
    mean += shape * size
    root = shape * variance**0.5
    cov += np.multiply.outer(root, root)


def forget(mean: Vector, cov: Matrix, place: int, value: float, variance: float) -> None:
    """Replace one entry by a fresh one, independent of all others. [its own unit]"""
    mean[place] = value
    cov[place] = 0.0
    cov[:, place] = 0.0
    cov[place, place] = variance


def clone(mean: Vector, cov: Matrix, source: int, target: int) -> None:
    """Make one entry a copy of another as it stands now. [1]"""
    mean[target] = mean[source]
    cov[target] = cov[source]
    cov[:, target] = cov[:, source]
    cov[target, target] = cov[source, source]
