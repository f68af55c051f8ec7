"""What a status doesn't speak for: a suitability that nobody has answered or that fails, and blanks of the accepted sheet.

Such a gap raises nothing. It stands beside the status until it is answered, so that "in service" never says more than was
looked at.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from logger.core.assessment import FAIL, UNDECIDED
from logger.core.fitting.fit import fit
from logger.core.rig import Rig


@dataclass(frozen=True)
class Gap:
    """One thing the status doesn't cover."""

    about: str
    """``fuse``, ``force margin``, ``not recorded: ...``"""
    fails: bool = False
    says: str = ""
    do: str = ""

    @property
    def short(self) -> str:
        """For a list of them."""
        return f"{self.about} (fails)" if self.fails else self.about

    @property
    def sentence(self) -> str:
        """Whole, with what to do."""
        said = f"{self.short}: {self.says}" if self.says else self.short
        return ". ".join(part.rstrip(".") for part in (said, self.do) if part) + "."


def not_covered(rig: Rig, blanks: Sequence[tuple[str, str]] = ()) -> tuple[Gap, ...]:
    """What fails first, then what is undecided, then what the accepted sheet left blank.

    ``blanks``: each as it was asked, and what the sheet can't claim for it.
    """
    open_findings = [one for one in fit(rig).findings if one.verdict in (FAIL, UNDECIDED)]
    open_findings.sort(key=lambda one: one.verdict != FAIL)
    gaps = [Gap(one.about, one.verdict == FAIL, one.says, one.do) for one in open_findings]
    if blanks:
        asked, claims = zip(*blanks, strict=True)
        about = f"not recorded on the accepted sheet ({', '.join(asked)})"
        gaps.append(Gap(about, says=f"it doesn't speak for {'; '.join(claims)}"))
    return tuple(gaps)


def coverage_line(gaps: Sequence[Gap]) -> str:
    """One line beside a status; empty where nothing is open."""
    return f"Not covered: {', '.join(one.short for one in gaps)}." if gaps else ""
