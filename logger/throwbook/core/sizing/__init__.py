"""Does this actuator suit this mechanism? Asked before money is spent, and again after it is fitted."""
