r"""Salts that make-up water brings and evaporation leaves: hardness, chloride, dissolved solids.

With evaporation :math:`E`, carry-off :math:`D` (as mix), a sump kept at :math:`V` takes
:math:`M = E + D` of make-up, and what dissolves in it at :math:`h_m` obeys

.. math:: V \frac{dh}{dt} = M h_m - D h

so that it approaches :math:`h_m M / D`: carry-off is what a cooling tower calls blowdown. For
hardness this is an upper bound, since part of it precipitates. The concentrate's own salts and what
is carried in on parts are left out.
"""

from math import exp, inf, log

from advisor.errors import AdvisorError


def cycles(evaporation: float, carry_off: float) -> float:
    """Cycles of concentration that a system settles at: make-up over carry-off. [1]

    Parameters
    ----------
    evaporation, carry_off : float
        Losses, both at least 0; carry-off is blowdown and drift of a tower. [L/d]

    References
    ----------
    .. [1] U.S. Department of Energy, Federal Energy Management Program, "Best Management Practice
       #10: Cooling Tower Management". (from memory)

    Examples
    --------
    >>> cycles(15.0, 5.0)
    4.0
    """
    _require(evaporation, carry_off)
    return (evaporation + carry_off) / carry_off if carry_off > 0.0 else inf


def carry_off_for(evaporation: float, wanted_cycles: float) -> float:
    """Carry-off (blowdown) that holds so many cycles of concentration: E / (C - 1). [L/d]

    >>> carry_off_for(1620.0, 2.0)
    1620.0
    """
    if not 1.0 < wanted_cycles < inf:
        raise AdvisorError("cycles", wanted_cycles, "more than 1")
    return evaporation / (wanted_cycles - 1.0)


def settles_at(make_up: float, evaporation: float, carry_off: float) -> float:
    """Content that a sump settles at, given that of its make-up water. [mg/L]"""
    return make_up * cycles(evaporation, carry_off)


def content_after(
    days: float, volume: float, start: float, make_up: float, losses: tuple[float, float]
) -> float:
    """Content of a sump after so many days of topping up.

    Parameters
    ----------
    days : float
        Since `start`. [d]
    volume : float
        Fluid in the sump, kept as it is. [L]
    start, make_up : float
        Content of the sump at first, and of the water it is topped up with. [mg/L]
    losses : tuple of float
        Evaporation and carry-off. [L/d]

    Returns
    -------
    content
        An upper bound where part of it precipitates. [mg/L]

    Examples
    --------
    150 mg/L in 300 L, 15 L/d evaporate, 5 L/d are carried off: after 30 days

    >>> round(content_after(30.0, 300.0, 150.0, 150.0, (15.0, 5.0)), 2)
    327.06
    """
    evaporation, carry_off = losses
    _require(evaporation, carry_off)
    if carry_off <= 0.0:
        return start + make_up * evaporation * days / volume
    end = settles_at(make_up, evaporation, carry_off)
    return end + (start - end) * exp(-carry_off * days / volume)


def days_until(
    limit: float, volume: float, start: float, make_up: float, losses: tuple[float, float]
) -> float:
    """Time until a rising content reaches its limit; infinite where it never does. [d]

    The arguments are those of :func:`content_after`; `limit` is in [mg/L].

    >>> round(days_until(327.06, 300.0, 150.0, 150.0, (15.0, 5.0)), 2)
    30.0
    """
    evaporation, carry_off = losses
    _require(evaporation, carry_off)
    if start >= limit:
        return 0.0
    if carry_off <= 0.0:
        rate = make_up * evaporation / volume
        return (limit - start) / rate if rate > 0.0 else inf
    end = settles_at(make_up, evaporation, carry_off)
    if end <= limit:
        return inf
    return volume / carry_off * log((end - start) / (end - limit))


def blend_that_never_reaches(
    limit: float, hard: float, soft: float, losses: tuple[float, float]
) -> float | None:
    """Share of the hard water in a blend whose content settles at the limit. [1]

    Parameters
    ----------
    limit : float
        Of the sump. [mg/L]
    hard, soft : float
        Content of the two waters. [mg/L]
    losses : tuple of float
        Evaporation and carry-off. [L/d]

    Returns
    -------
    share
        1 where the hard water alone will do, `None` where not even the soft one does.

    Examples
    --------
    Tap water of 200 mg/L, demineralised water, four cycles, a limit of 400 mg/L: half and half.

    >>> blend_that_never_reaches(400.0, 200.0, 0.0, (15.0, 5.0))
    0.5
    """
    times = cycles(*losses)
    allowed = limit / times
    if hard <= allowed:
        return 1.0
    if soft > allowed:
        return None
    return (allowed - soft) / (hard - soft)


def _require(evaporation: float, carry_off: float) -> None:
    """Refuse losses that are none [L/d]."""
    for quantity, loss in (("evaporation", evaporation), ("carry-off", carry_off)):
        if not 0.0 <= loss < inf:
            raise AdvisorError(quantity, loss, "0 L/d or more")
