"""What a technician is warned of, wherever a rule sends one. Defers to local codes and licensed practice."""

from __future__ import annotations

ELECTRICAL = (
    "Electricity kills: switch off and lock out the supply before opening any enclosure, and leave wiring, bonding "
    "and ground-fault protection to licensed practice under local codes."
)
PAD_CHECK = (
    "A suggestion from estimates: before keying it in, check at the pad the ratings of filter and suction fittings "
    "and the least flow of heater, chlorinator and features. Local codes and the pool's permit come first."
)
NO_FLOW = (
    "A load energised without enough flow can overheat, and a chlorinator can collect hydrogen and burst: isolate it "
    "until the interlock is proven. Follow the maker's plate, local codes and licensed practice. " + ELECTRICAL
)
FREEZE = (
    "One-sided: logs cannot show that pipes are protected. If in doubt, treat them as exposed: check on site, keep a "
    "drain plan for a power failure, and follow local codes and licensed practice."
)
SUCTION = (
    "Suction can hold and drown a person: keep bathers out while a suction fitting is in doubt, and never open or bypass "
    "a fitting or its cover to get flow. Missing, broken or expired covers: the pool stays closed until they are "
    "replaced, by local codes and licensed practice."
)
PRESSURE = (
    "A filter holds pressure and its lid can fly off: switch the pump off, release the pressure by the air valve until "
    "the gauge reads nothing, and only then open filter or strainer. Stand clear at the restart, air valve open, as the "
    "maker says."
)
