"""Arithmetic of mixes: alligation, dilution, exchange.

Volumes are taken to add up; strengths are fractions of the mix, v/v. The two conventions of the
percentage are in `advisor.units`.
"""

from advisor.effects import Mix
from advisor.errors import AdvisorError


def mix_of(volume: float, strength: float) -> Mix:
    """Water and concentrate in `volume` [L] of a mix of `strength` [1]."""
    _require_volume("volume", volume)
    _require_strength("strength", strength)
    return Mix(volume * (1.0 - strength), volume * strength)


def blend(*portions: Mix) -> Mix:
    """All portions poured together. [L]"""
    return Mix(sum(p.water for p in portions), sum(p.concentrate for p in portions))


def share_of_stronger(stronger: float, weaker: float, wanted: float) -> float:
    """Share of the stronger of two mixes in a blend of the wanted strength. [1]

    Alligation: parts stand to each other as the distances of the *other* mix from what is wanted.

    Parameters
    ----------
    stronger, weaker, wanted : float
        Strengths, weaker < stronger and weaker <= wanted <= stronger. [1]

    Raises
    ------
    AdvisorError
        If the wanted strength does not lie between the two.

    References
    ----------
    .. [1] R. M. Felder and R. W. Rousseau, "Elementary Principles of Chemical Processes", 3rd ed.,
       Wiley, 2005, ch. 4.3, balances on mixers. (from memory)

    Examples
    --------
    100 g of 3 % from 5 % and 1 % take equal parts:

    >>> round(share_of_stronger(0.05, 0.01, 0.03), 12)
    0.5
    """
    if not weaker < stronger:
        raise AdvisorError("stronger mix", stronger, f"a strength above {weaker}")
    if not weaker <= wanted <= stronger:
        raise AdvisorError("wanted strength", wanted, f"{weaker} to {stronger}")
    return (wanted - weaker) / (stronger - weaker)


def dilution_water(volume: float, strength: float, wanted: float) -> float:
    """Water that brings `volume` [L] from `strength` down to the `wanted` one [1]. [L]

    From C1 V1 = C2 V2. 300 L from 10 % to 8 % take 75 L:

    >>> round(dilution_water(300.0, 0.10, 0.08), 9)
    75.0
    """
    if not 0.0 < wanted <= strength:
        raise AdvisorError("wanted strength", wanted, f"above 0, at most {strength}")
    return volume * (strength / wanted - 1.0)


def exchange_volume(volume: float, strength: float, wanted: float, fresh: float) -> float:
    r"""Volume to drain and to fill up again with a `fresh` mix, to reach the wanted strength. [L]

    .. math:: x = V (c_1 - c_2) / (c_1 - w)

    Parameters
    ----------
    volume : float
        Fluid in the sump, the same before and after. [L]
    strength, wanted : float
        Concentration before and after. [1]
    fresh : float
        Strength of what is filled in, on the far side of `wanted`. [1]

    Raises
    ------
    AdvisorError
        If filling in `fresh` never leads from `strength` to `wanted`.

    Notes
    -----
    Drained first, then filled. Filling while fluid runs out takes V ln((c1 - w) / (c2 - w)),
    which is always more.

    Examples
    --------
    300 L from 10 % to 8 % with water: 60 L out, 60 L of water in.

    >>> round(exchange_volume(300.0, 0.10, 0.08, 0.0), 9)
    60.0
    """
    if strength == wanted:
        return 0.0
    if not min(fresh, strength) < wanted < max(fresh, strength) and wanted != fresh:
        raise AdvisorError("wanted strength", wanted, f"between {strength} and {fresh}")
    return volume * (strength - wanted) / (strength - fresh)


def exchange_to(
    volume: float, strength: float, wanted: float, target: float, fresh: float
) -> tuple[float, float]:
    """Volume to drain, and then to add, to end at another volume and concentration. [L]

    Parameters
    ----------
    volume, strength : float
        Fluid in the sump now. [L], [1]
    wanted, target : float
        Fluid wanted. [L], [1]
    fresh : float
        Strength of what is added, on the far side of `target`. [1]

    Raises
    ------
    AdvisorError
        If adding `fresh` never leads from `strength` to `target`, or adding alone does.

    Notes
    -----
    What is kept holds its share in the blend: :func:`share_of_stronger`. With the volume unchanged
    this is :func:`exchange_volume`.

    Examples
    --------
    280 L at 10 % to 300 L at 8 % with a weak mix of 1 %:

    >>> [round(litres, 4) for litres in exchange_to(280.0, 0.10, 300.0, 0.08, 0.01)]
    [46.6667, 66.6667]
    """
    stronger, weaker = max(strength, fresh), min(strength, fresh)
    share = share_of_stronger(stronger, weaker, target)
    kept = wanted * (share if strength == stronger else 1.0 - share)
    if kept > volume * (1.0 + 1e-12):
        raise AdvisorError("volume", volume, f"at least {kept} L: adding alone would do")
    return volume - kept, wanted - kept


def holding_strength(water_loss: float, concentrate_loss: float) -> float:
    """Strength of the top-up that holds a sump where it is. [1]

    Loss of concentrate over all loss, both in [L/d]: what goes in must be what went out. With
    evaporation E and carry-off D at concentration c this is c D / (E + D).

    >>> round(holding_strength(15.0 + 5.0 * 0.92, 5.0 * 0.08), 9)  # E = 15, D = 5 at 8 %
    0.02
    """
    total = water_loss + concentrate_loss
    if not (water_loss >= 0.0 and concentrate_loss >= 0.0 and total > 0.0):
        raise AdvisorError("losses", (water_loss, concentrate_loss), "not negative, not both 0 L/d")
    return concentrate_loss / total


def _require_strength(quantity: str, value: float) -> None:
    """Refuse what is no strength, from water to pure concentrate [1]."""
    if not 0.0 <= value <= 1.0:
        raise AdvisorError(quantity, value, "0 to 1")


def _require_volume(quantity: str, value: float) -> None:
    """Refuse what is no volume [L]."""
    if not 0.0 <= value < float("inf"):
        raise AdvisorError(quantity, value, "0 L or more")
