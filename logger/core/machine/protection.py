"""The protection code in words: what an enclosure keeps out, and what it doesn't.

Source: IEC 60529 (1989, with amendments 1 and 2), as several public summaries give it (IP-1 to IP-4); IP69K is the
form of ISO 20653.
"""

import re
from dataclasses import dataclass

SOLIDS = {
    "0": "nothing solid",
    "1": "solid things from 50 mm",
    "2": "solid things from 12.5 mm",
    "3": "solid things from 2.5 mm",
    "4": "solid things from 1 mm",
    "5": "dust enough to keep working (some may get in)",
    "6": "all dust",
}
WATER = {
    "0": "no water at all",
    "1": "drops falling straight down",
    "2": "drops at a tilt up to 15 degrees",
    "3": "spray up to 60 degrees from above",
    "4": "splashing from any side",
    "5": "a water jet (6.3 mm nozzle, 12.5 litres a minute)",
    "6": "a strong water jet (12.5 mm nozzle, 100 litres a minute)",
    "7": "lying under water for a while (1 m, 30 minutes)",
    "8": "lying under water for longer, as agreed with the maker",
    "9": "a hot high-pressure jet (80 degC, close up)",
}
_SPLASH, _STRONG_JET = 4, 6
_CODE = re.compile(r"IP ?([0-6X])([0-9X])(K?)[A-DHMSWF]*(?:/(?:IP ?)?([0-6X])?([0-9X])(K?))*", re.IGNORECASE)
_ONE = re.compile(r"([0-6X])?([0-9X])(K?)", re.IGNORECASE)


@dataclass(frozen=True)
class Protection:
    """A code that was read."""

    code: str
    solids: str
    """Largest first numeral; ``X``: not stated."""
    water: frozenset[str]
    """Second numerals it holds, those they include among them."""

    @property
    def keeps_out(self) -> tuple[str, ...]:
        """What it keeps out, in words, the strongest of each family."""
        kept = [] if self.solids in ("X", "0") else [SOLIDS[self.solids]]
        below_seven = [one for one in self.water if one <= "6" and one != "0"]
        if below_seven:
            kept.append(WATER[max(below_seven)])
        kept += [WATER[one] for one in ("7", "8", "9") if one in self.water]
        return tuple(kept)

    @property
    def lets_in(self) -> tuple[str, ...]:
        """What it is not tested against and a machine in the field meets, in words."""
        missing = []
        if self.solids == "X" or int(self.solids) < 6:
            missing.append("fine dust" if self.solids != "X" else "dust (not stated)")
        if not self.water or self.water == {"0"}:
            missing.append("any water")
            return tuple(missing)
        if "5" not in self.water:
            missing.append("water jets")
        elif "6" not in self.water:
            missing.append("strong water jets")
        if not self.water & {"7", "8"}:
            missing.append("lying under water")
        if "9" not in self.water:
            missing.append("hot high-pressure washing")
        return tuple(missing)


def read_code(text: str) -> Protection | None:
    """Read a code such as `IP66` or `IP66/IP67`; None where it is none.

    Second numerals up to 6 include all lower ones; 7, 8 and 9 don't include the jets (5, 6) unless marked with both.
    """
    plain = text.strip()
    if not _CODE.fullmatch(plain):
        return None
    solids, water = "X", set()
    for part in re.sub(r"(?i)ip ?", "", plain).split("/"):
        found = _ONE.match(part)
        if found is None:
            return None
        if found[1] and found[1] != "X":
            solids = found[1] if solids == "X" else max(solids, found[1])
        if found[2] in "xX":
            continue
        numeral = int(found[2])
        water |= {
            str(one)
            for one in range(min(numeral, _STRONG_JET) + 1)
            if numeral <= _STRONG_JET or one <= _SPLASH
        }
        water.add(str(numeral))
    return Protection(plain.upper().replace("IP ", "IP"), solids, frozenset(water))
