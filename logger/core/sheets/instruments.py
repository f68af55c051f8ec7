"""Hand instruments and what their readings are worth: stopwatch, clamp meter, volt meter.

Type B, root-sum-square, k = 2 (JCGM 100). An accuracy of +/- a is taken as a rectangle, a/sqrt(3) (4.3.7); a display that
steps by d adds d/sqrt(12) (F.2.2.1). A stroke timed by hand, start and stop by the same person, has no bias and a standard
deviation of 0.10 s (Am. J. Phys. 87(2) 110 (2019): 0.07 s for one event, its bias falls out between the two).
"""

import re
from dataclasses import dataclass

from logger.core.assessment import Measured
from logger.core.quantities.uncertainty import combined, expanded, from_half_width, from_step, hand_timed
from logger.core.sheets.byhand_lines import Reading
from logger.errors import InputError

READ_BY_EYE = 0.05
"""A current that moves while it is read stands for the average of the run to within this half-width, as a share
(assumed)."""


@dataclass(frozen=True)
class Accuracy:
    """As a meter's data sheet puts it: plus or minus a share of the reading plus so many steps of the last digit."""

    share: float
    digits: float
    assumed: bool = False

    @property
    def text(self) -> str:
        """As a person writes it."""
        return f"{100 * self.share:g}% + {self.digits:g} digits{' (assumed)' if self.assumed else ''}"


CLAMP_METER = Accuracy(0.02, 3.0, assumed=True)
"""A clamp meter on direct current of which nothing is known (common practice, no source)."""
VOLT_METER = Accuracy(0.005, 3.0, assumed=True)
"""A hand-held volt meter of which nothing is known (common practice, no source)."""


@dataclass(frozen=True)
class Instruments:
    """What was used."""

    clamp: Accuracy = CLAMP_METER
    volt: Accuracy = VOLT_METER
    names: str = ""
    """As written on the sheet."""

    @property
    def assumed(self) -> list[str]:
        """Those whose accuracy wasn't given."""
        named = (("clamp meter", self.clamp), ("volt meter", self.volt))
        return [f"{name} {accuracy.text}" for name, accuracy in named if accuracy.assumed]


_ACCURACY = re.compile(
    r"(\d+(?:\.\d+)?)\s*%(?:\s*(?:rdg)?\s*\+\s*(\d+(?:\.\d+)?)\s*(?:digits?|dgt|d)?)?", re.IGNORECASE
)


def accuracy_from(text: str, where: str = "") -> Accuracy:
    """Read an accuracy as printed on a meter's data sheet.

    >>> accuracy_from("2% + 3 digits")
    Accuracy(share=0.02, digits=3.0, assumed=False)
    """
    found = _ACCURACY.fullmatch(text.strip().replace("\N{PLUS-MINUS SIGN}", "").strip())
    if found is None:
        raise InputError(
            f"{text!r} is not an accuracy", where, "Write it as on the data sheet: 2% + 3 digits"
        )
    return Accuracy(float(found[1]) / 100.0, float(found[2] or 0.0))


def timed(reading: Reading) -> Measured:
    """A hand-timed stroke [s].

    >>> round(timed(Reading(5.0, 0.01)).u, 2)
    0.2
    """
    return Measured(reading.value, expanded(hand_timed(reading.step)))


def metered(reading: Reading, accuracy: Accuracy, by_eye: float = 0.0) -> Measured:
    """A reading of a meter in its own unit; ``by_eye`` is the half-width, as a share, of reading it while it moves."""
    half_width = accuracy.share * abs(reading.value) + accuracy.digits * reading.step
    standard = combined(
        from_half_width(half_width),
        from_step(reading.step),
        from_half_width(by_eye * abs(reading.value)),
    )
    return Measured(reading.value, expanded(standard))
