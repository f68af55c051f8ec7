"""Every sign, by name: restated here, so that a slip in one of the product's tables shows."""

CONTRACT = (
    "no-start",
    "stall",
    "end-stop",
    "stopped-short",
    "light-run",
    "slow-travel",
    "low-supply",
    "supply-drop",
    "drag",
    "binding-spot",
    "over-rated",
    "uneven-sides",
    "free-play",
    "duty-exceeded",
    "clipped",
    "gaps",
    "cut-record",
    "noisy",
)
"""The table of signs that the trace format promises."""

OF_THE_PINS = ("switch-open", "switch-lag", "switch-fault")
"""Those of the board line protocol's version 2: of a board with a switch at each pin."""

OUR_OWN = ("no-end", "interruption")
"""Beside them: a run that nothing ends, and a contact that opens in mid-throw."""

EVERY = frozenset(CONTRACT + OF_THE_PINS + OUR_OWN)
ADD = "A new sign has its name in OUR_OWN of tests/sign_names.py; DEVELOPERS.md, 'To add a sign', names the rest."
