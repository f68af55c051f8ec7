"""The day's circumstances of one throw."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Conditions:
    """Weather, battery, engine, and what went before."""

    temperature_c: float = 20.0
    engine_running: bool = False
    battery_charge: float = 0.9
    """State of charge, 0..1."""
    hours_at_rest: float = 0.0
    """Since the machine's last movement before this set."""
    throw_number: int = 3
    """Counted within the set, from 1; the first after a rest is heavier."""
    winding_c: float | None = None
    """Winding temperature at the start [degC]; None: as the air."""
