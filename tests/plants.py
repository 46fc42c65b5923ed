"""Plans and plants that tests begin with: invented, of ordinary size."""

from advisor.geometry import Box
from advisor.plan import Fluid, Levels, SignalPlan, SumpPlan, Vessel
from advisor.words import Signal

FLUID = Fluid(
    id="semi-a",
    refractometer_factor=1.25,
    band_low=0.06,
    band_high=0.10,
    target=0.08,
    premix_max=0.20,
    weak_mix=0.0,
)


def a_sump(**changes: object) -> SumpPlan:
    """A box of 1.05 L/mm with level, Brix and running; keyword arguments replace fields."""
    fields: dict[str, object] = {
        "id": "mill-07",
        "name": "Mill 7",
        "fluid": FLUID,
        "tank": Box(length=1500.0, width=700.0, height=450.0),
        "levels": Levels(low=180.0, target=380.0, brim=430.0, top_up=280.0),
        "holdup": 35.0,
        "signals": {
            Signal.LEVEL: SignalPlan(signal=Signal.LEVEL, sd=1.5, unit="mm", interval=60.0),
            Signal.BRIX: SignalPlan(signal=Signal.BRIX, sd=0.08, unit="degBrix", interval=60.0),
            Signal.RUNNING: SignalPlan(signal=Signal.RUNNING),
        },
        "vessels": (Vessel(id="bucket", volume=20.0, graduation=0.5, carry_fill=0.8),),
    }
    return SumpPlan(**{**fields, **changes})  # type: ignore[arg-type]
