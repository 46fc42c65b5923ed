"""Where each quantity stands in the yardstick's state.

Volumes of the fluid are in litres of the drawing, and concentrate is what the data sheet takes the
reading for. Two scales, `AREA` and `FACTOR`, turn them into true ones: (1 + AREA) and
(1 + FACTOR). So neither level nor Brix depends on a product of states, of which a filter that is
linearised anew at each step would believe to learn the factors.
"""

V = 0  # all the fluid, holdup included [L of the drawing]
C = 1  # concentration as read [1]; the concentrate as read [L] while something is poured
LOST = 2  # water and concentrate together, since the beginning [L of the drawing]
CONCENTRATE = 3  # of that concentrate as read [L]
DRY_REST = 4  # loss rate of water beyond what goes as mix, at all times [L/d]
DRY_RUN = 5  # on top of it while the pumps run [L/d]
MIX_REST = 6  # loss rate of mix [L/d]
MIX_RUN = 7  # [L/d]
OIL = 8  # tramp oil afloat [L]
OIL_RATE = 9  # while the pumps run [L/d]
FILM = 10  # on the prism [°Brix]
FILM_RATE = 11  # while it is wetted [°Brix/d]
FOAM = 12  # [mm]
WAVES = 13  # [mm]
WANDER = 14  # of the level sensor [mm]
WARM = 15  # level with an unmeasured temperature [mm]
BRIX_WANDER = 16  # [°Brix]
BRIX_WARM = 17  # [°Brix]
MOVING = 18

ZERO = 18  # of the level sensor [mm]
AREA = 19  # true over drawn area, less one [1]
HOLDUP = 20  # true over told holdup, less one [1]
BRIX_ZERO = 21  # [°Brix]
FACTOR = 22  # true over told refractometer factor, less one [1]
FRESH = 23  # reading of the make-up water [°Brix]
KELVIN = 24  # of the inline refractometer [°Brix/K]
AIR = 25  # of an air gap [1/K]
WATER_GAIN = 26  # of the totaliser, less one [1]
CONCENTRATE_GAIN = 27
POURED = 28  # or drained, since the newest event began [L of the drawing]
POURED_CONCENTRATE = 29  # as read [L]
BASE = 30  # LOST and CONCENTRATE when the accounts began [L]
HOURS = 32  # LOST and CONCENTRATE at each of the last 24 hours [L]
WINDOW = 24
SIZE = HOURS + 2 * WINDOW


def hour(count: int) -> int:
    """Place of what was lost up to an hour of this number; the concentrate follows."""
    return HOURS + 2 * (count % WINDOW)
