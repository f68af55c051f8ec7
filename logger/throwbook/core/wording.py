"""The cautions, each written once, shown where the hazard is. Source: method.md 7.

The tool only records. Nothing it computes stands in for a person who looks at both pins.
"""

FALL = "A half-locked attachment drops. Put the attachment on the ground, clear the area, and stay out from under it."
HANDS = "Before hands go near the pins: power isolated, key out."
BOTH_PINS = (
    "Look at both pins at every change, each by itself, and do the maker's load check. This tool only records; it never "
    "drives the actuator, and no figure of it stands in for your eyes."
)
FIRE = (
    "Batteries, wiring and fuses can start fires. Protect the cable by the local code and the machine maker's "
    "instructions."
)
QUALIFIED = (
    "Structural repair, electrical work on safety circuits, and return to service of hired or workplace machines belong to "
    "qualified people, licensed where the law asks for it."
)
OUT_OF_USE = (
    "Do not use. Keep people away and the attachment on the ground until the cause is found, the repair is logged, the rig "
    "is commissioned anew in full and that is signed."
)

# where it is shown: the sentences, in this order.
SHOWN_AT: dict[str, tuple[str, ...]] = {
    "record": (FALL, HANDS),
    "assess": (FALL, HANDS, BOTH_PINS),
    "commissioning": (FALL, HANDS, BOTH_PINS),
    "sighting": (HANDS, BOTH_PINS),
    "wiring": (FIRE,),
    "service": (FALL, HANDS, QUALIFIED),
    "clearing": (OUT_OF_USE, QUALIFIED),
    "do not use": (OUT_OF_USE,),
}
