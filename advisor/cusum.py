"""The tabular CUSUM: small lasting shifts of a standardised series, found soon, seldom falsely."""

from typing import NamedTuple


class Cusum(NamedTuple):
    """Sums of what lies beyond the allowance, upwards and downwards. [1]"""

    up: float = 0.0
    down: float = 0.0


def accumulate(sums: Cusum, z: float, allowance: float) -> Cusum:
    r"""Take in one standardised value: :math:`C^\pm \leftarrow \max(0, C^\pm \pm z - k)`.

    Parameters
    ----------
    sums : Cusum
        So far. [1]
    z : float
        Value less its expectation, per sd. [1]
    allowance : float
        The k of the tables: half the shift to be found. [1]

    Returns
    -------
    Cusum
        With it; a shift is called where either sum passes the decision interval h. [1]

    References
    ----------
    .. [1] E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, CUSUM control charts.

    Examples
    --------
    >>> accumulate(Cusum(up=1.0, down=0.2), 0.9, allowance=0.5)
    Cusum(up=1.4, down=0.0)
    """
    return Cusum(max(0.0, sums.up + z - allowance), max(0.0, sums.down - z - allowance))
