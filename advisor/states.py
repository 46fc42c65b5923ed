"""Where each quantity stands in the filter's state vector.

The first `MOVING` entries feed one another as time passes; the rest stand still, decay towards
zero (instrument noise) or change by events alone. Accounts, events and clones are never observed
by themselves: they ride along, so that their sds and correlations come out of the same algebra as
the volume's.

Litres are those of the drawing: what the tank would hold at a depth if it were as drawn. That
makes the level linear in the state. True litres are these times one plus `AREA`, which enters
where somebody tells true ones, a report or a meter, and in what is told at the end. Concentrate
likewise is what the refractometer would take it for by the data sheet's factor: true concentrate
is that less the part `FACTOR`. So neither unknown scale bends a sensor's row.
"""

V = 0  # all the fluid, holdup included [L]
C = 1  # concentrate in it [L]
LOST_WATER = 2  # since the accounts began [L]
LOST_CONCENTRATE = 3  # [L]
WATER_REST = 4  # loss rate of water, at all times [L/d]
WATER_RUN = 5  # and on top of it while the pumps run [L/d]
CONCENTRATE_REST = 6  # loss rate of concentrate, at all times [L/d]
CONCENTRATE_CUT = 7  # and on top of it while the machine cuts [L/d]
FILM = 8  # offset of the inline refractometer alone [°Brix]
FILM_RATE = 9  # how it grows while the pumps run [°Brix/d]
SHARED = 10  # offset that inline and handheld refractometer share: water's own, oil [°Brix]
SHARED_RATE = 11  # how it grows while the pumps run: oil [°Brix/d]
WATER_BRIX = 12  # reading of the make-up water, whose salts stay when it evaporates [°Brix]
OIL = 13  # tramp oil afloat, which the level takes for fluid [L]
OIL_RATE = 14  # how it comes in while the pumps run [L/d]
MOVING = 15

WAVES = 15  # level noise over minutes [mm]
SWAY = 16  # level error over a day: air temperature, tilt [mm]
WANDER = 17  # inline refractometer's noise over hours [°Brix]
HOLDUP = 18  # up in the machine while the pumps run [L]
AREA = 19  # true volume per drawn volume, less one [1]
FACTOR = 20  # reading per expected reading, less one: the refractometer factor's error [1]
SHIFT = 21  # error of the level sensor's zero, and of steps that it took [mm]
WARMTH = 22  # inline reading per degree from 20 °C that compensation leaves [°Brix/K]
WATER_GAIN = 23  # poured per metered water, less one [1]
CONCENTRATE_GAIN = 24  # poured per metered concentrate, less one [1]

REPORT_GAIN = 25  # poured per reported mix, less one: how people fill their buckets [1]

ADDED_WATER = 26  # [L]
ADDED_CONCENTRATE = 27  # [L]
DRAINED_WATER = 28  # [L]
DRAINED_CONCENTRATE = 29  # [L]

EVENTS = 30  # pairs: water and concentrate of one addition or drain still being learned [L]
EVENT_PAIRS = 3
CLONES = EVENTS + 2 * EVENT_PAIRS  # pairs: LOST_WATER and LOST_CONCENTRATE as of a past moment [L]
CLONE_PAIRS = 14
SIZE = CLONES + 2 * CLONE_PAIRS


def event_pair(place: int) -> int:
    """Index of the water of an event's pair; its concentrate follows."""
    return EVENTS + 2 * place


def clone_pair(place: int) -> int:
    """Index of the water of a clone's pair; its concentrate follows."""
    return CLONES + 2 * place
