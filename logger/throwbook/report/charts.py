"""Charts of one judged throw: current and voltage over time, current over travel against the baseline."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.assessment import INFO, Assessment, Check, Figures, Sign, sign_text, switch_places
from throwbook.core.quantities.rounding import limit_text, measured_text
from throwbook.core.quantities.text import printable
from throwbook.core.rig import Rig
from throwbook.core.trace import FloatArray, Trace
from throwbook.core.wording import ENDS, FIGURES, LIMITS, VERDICTS
from throwbook.report import chart_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from throwbook.core.analysis.baseline import Baseline


_MOST_POINTS = 6000
"""More rows than this don't show on paper: they are thinned to the lowest and highest of each stretch."""
_GAP_PERIODS = 5.0
"""A step in time of more than so many usual ones is drawn as a gap."""
_PAGE_INCHES = (8.0, 9.5)


@dataclass(frozen=True)
class Subject:
    """What is drawn."""

    trace: Trace
    assessment: Assessment
    rig: Rig
    baseline: "Baseline | None" = None
    most_points: int = _MOST_POINTS
    """Lines over time are thinned to about so many points."""


@contextmanager
def trial_pages(
    path: str | Path, count: int
) -> Iterator[Callable[[Trace, Assessment, Rig, "Baseline | None"], None]]:
    """Give a function that adds the drawing of one throw to the file at ``path``; see ``style.pages``."""
    with chart_style.pages(path, count) as add:

        def draw(trace: Trace, assessment: Assessment, rig: Rig, baseline: "Baseline | None") -> None:
            add(draw_trial(Subject(trace, assessment, rig, baseline)))

        yield draw


def draw_trial(subject: Subject) -> "Figure":
    """One page: current, voltage (if recorded) and current over travel (if the record gives one)."""
    from matplotlib.figure import Figure

    panels = [draw_current]
    if subject.trace.voltage_v is not None:
        panels.append(_draw_voltage)
    if subject.assessment.profile is not None:
        panels.append(draw_profile)
    heights = {draw_current: 3.0, _draw_voltage: 1.8, draw_profile: 3.0}
    ratios = [heights[panel] for panel in panels]
    trace = subject.trace
    subject = replace(subject, trace=replace(trace, time_s=trace.time_s - trace.time_s[0]))
    with chart_style.drawing():
        width, height = _PAGE_INCHES
        figure = Figure(figsize=(width, 1.4 + (height - 1.4) * sum(ratios) / 7.8), layout="constrained")
        grid = figure.subplots(len(panels), 1, height_ratios=ratios, squeeze=False)
        for panel, axes in zip(panels, grid[:, 0], strict=True):
            panel(axes, subject)
        figure.suptitle(_title(subject), x=0.01, ha="left", fontsize=11, fontweight="bold")
    return figure


def _title(subject: Subject) -> str:
    assessment, rig = subject.assessment, subject.rig
    where = f"{rig.name}: {assessment.direction}, {Path(assessment.file).name}"
    when = f", {subject.trace.started:%Y-%m-%d %H:%M}" if subject.trace.started else ""
    provisional = " (provisional)" if assessment.provisional else ""
    signs = [f"{number}  {_sign_text(sign)}" for number, sign in _marked(assessment)]
    return "\n".join(
        [f"{printable(where)}{when}", f"verdict: {VERDICTS[assessment.verdict].column}{provisional}", *signs]
    )


def draw_current(axes: "Axes", subject: Subject) -> None:
    """Current over time, its segments and limits."""
    assessment = subject.assessment
    axes.plot(
        *thinned(subject.trace.time_s, subject.trace.current_a, subject.most_points), **chart_style.MEASURED
    )
    sign = polarity(subject.trace, assessment)
    limits = [check for check in assessment.checks if check.unit == "A" and check.measured is not None]
    for check in limits:
        axes.axhline(sign * check.limit, **chart_style.LIMIT)
        lower = check.limit < max(one.limit for one in limits)
        chart_style.label_line(
            axes, sign * check.limit, _limit_text(check), chart_style.VERMILLION, below=lower == (sign > 0)
        )
    _mark_segments(axes, assessment, with_names=True)
    _mark_signs_in_time(axes, assessment)
    axes.set(xlabel="time [s]", ylabel="current [A]")
    axes.set_title(_current_title(assessment.figures))
    axes.margins(x=0.01, y=0.12)
    # A record without a movement is drawn on the scale of one, or its noise would look like something.
    low, high = axes.get_ylim()
    idle_a = subject.rig.actuator.no_load_current_a
    axes.set_ylim(min(low, -0.2 * idle_a), max(high, idle_a))


def _draw_voltage(axes: "Axes", subject: Subject) -> None:
    """Voltage over time with its lower limit."""
    trace, assessment = subject.trace, subject.assessment
    assert trace.voltage_v is not None
    axes.plot(*thinned(trace.time_s, trace.voltage_v), **chart_style.SECOND)
    for check in assessment.checks:
        if check.unit == "V" and check.measured is not None:
            axes.axhline(check.limit, **chart_style.LIMIT)
            chart_style.label_line(axes, check.limit, _limit_text(check), chart_style.VERMILLION)
    _mark_segments(axes, assessment, with_names=False)
    axes.set(xlabel="time [s]", ylabel="voltage [V]")
    axes.set_title(
        f"Voltage: {FIGURES['mean_voltage_v'].column} {measured_text(assessment.figures.mean_voltage_v, 'V')}"
    )
    axes.margins(x=0.01, y=0.15)


def draw_profile(axes: "Axes", subject: Subject) -> None:
    """Current over travel beside the baseline's lowest to highest."""
    profile, baseline = subject.assessment.profile, subject.baseline
    assert profile is not None
    draw_baseline(axes, baseline)
    axes.plot(100.0 * profile.fraction, profile.current_a, label="this throw", **chart_style.MEASURED)
    rated_a = subject.rig.actuator.full_load_current_a
    axes.axhline(rated_a, **chart_style.LIMIT)
    chart_style.label_line(axes, rated_a, f"full load {rated_a:.3g} A", chart_style.VERMILLION)
    for number, sign in _marked(subject.assessment):
        if sign.at_fraction is not None:
            _mark_place(axes, number, sign)
    for row, (place, name) in enumerate(switch_places(subject.assessment.figures)):
        late = place > 0.5
        axes.axvline(100.0 * place, **chart_style.EVENT)
        axes.annotate(
            name,
            (100.0 * place, 0.0),
            (-3 if late else 3, 14 + 10 * row),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="right" if late else "left",
            fontsize=7.5,
            color=chart_style.GREY,
        )
    axes.set(xlabel="travel from its own start [% of the stroke]", ylabel="current [A]", xlim=(0, 100))
    axes.set_title("Current over travel")
    axes.margins(y=0.15)
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    if baseline is not None and baseline.has_profile:
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.1, ncols=3)


def draw_baseline(axes: "Axes", baseline: "Baseline | None") -> None:
    """Its lowest to highest over the travel, and its median; nothing where it has none."""
    if baseline is None or not baseline.has_profile:
        return
    percent = 100.0 * baseline.fraction
    band = f"baseline, lowest to highest of {baseline.n}"
    axes.fill_between(percent, baseline.low_a, baseline.high_a, label=band, **chart_style.BAND)
    axes.plot(percent, baseline.median_a, label="its median", **chart_style.EXPECTED)


def _limit_text(check: Check) -> str:
    return f"{LIMITS[check.name].column} {limit_text(check.limit, check.side, check.unit)}"


def _current_title(figures: Figures) -> str:
    """The currents that the record gives."""
    values = (
        (FIGURES[name].column, getattr(figures, name)) for name in ("run_current_a", "peak_run_current_a")
    )
    known = [f"{name} {measured_text(value, 'A')}" for name, value in values if value is not None]
    return f"Current: {', '.join(known) or 'this record gives no running current'}"


def polarity(trace: Trace, assessment: Assessment) -> float:
    """-1 where the board counted this direction as negative current."""
    run = assessment.figures.run_current_a
    if run is None or not len(trace):
        return 1.0
    return -1.0 if abs(trace.current_a.min()) > abs(trace.current_a.max()) else 1.0


def _mark_segments(axes: "Axes", assessment: Assessment, *, with_names: bool) -> None:
    """Start, end of the inrush, end."""
    figures = assessment.figures
    events = (
        ("start", figures.start_s.value if figures.start_s else None),
        ("inrush over", assessment.inrush_end_s),
        (f"end ({ENDS[assessment.end].column})", figures.end_s.value if figures.end_s else None),
    )
    for row, (name, at_s) in enumerate(events):
        if at_s is None:
            continue
        axes.axvline(at_s, **chart_style.EVENT)
        if with_names:
            axes.annotate(
                name,
                xy=(at_s, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(3 if row < 2 else -3, -20 if row == 1 else -9),
                textcoords="offset points",
                ha="left" if row < 2 else "right",
                fontsize=7.5,
                color=chart_style.GREY,
            )


def _marked(assessment: Assessment) -> list[tuple[int, Sign]]:
    """Signs above ``info``, numbered."""
    return list(enumerate((sign for sign in assessment.signs if sign.level != INFO), 1))


def _mark_signs_in_time(axes: "Axes", assessment: Assessment) -> None:
    """A number where a sign begins; the title lists them."""
    for number, sign in _marked(assessment):
        if sign.from_s is not None:
            axes.plot(
                [sign.from_s], [0.0], marker="^", color=chart_style.VERMILLION, markersize=7, clip_on=False
            )
            axes.annotate(
                str(number), (sign.from_s, 0.0), (6, 3), textcoords="offset points", fontweight="bold"
            )


def _mark_place(axes: "Axes", number: int, sign: Sign) -> None:
    """A number at a place of the travel, with the interval it may lie in."""
    place = 100.0 * (sign.at_fraction or 0.0)
    reach = 100.0 * (sign.at_fraction_u or 0.0)
    axes.errorbar(
        [place],
        [0.0],
        xerr=[reach],
        fmt="^",
        color=chart_style.VERMILLION,
        markersize=7,
        capsize=3,
        clip_on=False,
    )
    axes.annotate(str(number), (place, 0.0), (6, 4), textcoords="offset points", fontweight="bold")


def _sign_text(sign: Sign) -> str:
    return printable(f"{sign_text(sign)} ({sign.level})")


def thinned(
    time_s: FloatArray, value: FloatArray, most_points: int = _MOST_POINTS
) -> tuple[FloatArray, FloatArray]:
    """What a line needs to look the same on paper, broken (NaN) where rows are missing.

    Shapes (n,) in, (m,) out; ``most_points`` about the most that are kept. Of a long record each stretch keeps its lowest and its highest value, so no spike is lost.
    """
    import numpy as np

    if len(time_s) > most_points:
        stretch = -(-len(time_s) // (most_points // 2))
        starts = np.arange(0, len(time_s), stretch)
        low, high = np.minimum.reduceat(value, starts), np.maximum.reduceat(value, starts)
        time_s = np.repeat(time_s[starts], 2)
        value = np.stack([low, high], axis=1).ravel()
        return time_s, value
    steps = np.diff(time_s)
    if not len(steps):
        return time_s, value
    gaps = np.flatnonzero(steps > _GAP_PERIODS * np.median(steps)) + 1
    return np.insert(time_s, gaps, np.nan), np.insert(value, gaps, np.nan)


POINTS = 600
SIZE_INCHES = (6.4, 4.6)


def draw_picture(subject: Subject) -> "Figure":
    """Current over time and, where the record gives one, over travel."""
    from matplotlib.figure import Figure

    trace = subject.trace
    small = replace(subject, trace=replace(trace, time_s=trace.time_s - trace.time_s[0]), most_points=POINTS)
    panels = [draw_current] + ([draw_profile] if subject.assessment.profile is not None else [])
    with chart_style.drawing():
        width, height = SIZE_INCHES
        figure = Figure(figsize=(width, height * len(panels) / 2), layout="constrained")
        for panel, axes in zip(panels, figure.subplots(len(panels), 1, squeeze=False)[:, 0], strict=True):
            panel(axes, small)
            if panel is draw_profile:  # the axis says it, and the legend needs the room
                axes.set_title("")
    return figure


def write_picture(subject: Subject, path: Path) -> None:
    """Write the picture as SVG. Raises OutsideError when the disk refuses."""
    with chart_style.pages(path, 1) as add:
        add(draw_picture(subject))
