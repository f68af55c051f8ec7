"""Pictures for the guide: one throw, small, current over time above current over travel."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from logger.report import style
from logger.report.plots import Subject, draw_current, draw_profile

if TYPE_CHECKING:
    from matplotlib.figure import Figure

POINTS = 600
SIZE_INCHES = (6.4, 4.6)


def draw_picture(subject: Subject) -> "Figure":
    """Current over time and, where the record gives one, over travel."""
    from matplotlib.figure import Figure

    trace = subject.trace
    small = replace(subject, trace=replace(trace, time_s=trace.time_s - trace.time_s[0]), most_points=POINTS)
    panels = [draw_current] + ([draw_profile] if subject.assessment.profile is not None else [])
    with style.drawing():
        width, height = SIZE_INCHES
        figure = Figure(figsize=(width, height * len(panels) / 2), layout="constrained")
        for panel, axes in zip(panels, figure.subplots(len(panels), 1, squeeze=False)[:, 0], strict=True):
            panel(axes, small)
            if panel is draw_profile:  # the axis says it, and the legend needs the room
                axes.set_title("")
    return figure


def write_picture(subject: Subject, path: Path) -> None:
    """Write the picture as SVG. Raises OutsideError when the disk refuses."""
    with style.pages(path, 1) as add:
        add(draw_picture(subject))
