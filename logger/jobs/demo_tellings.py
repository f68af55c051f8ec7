"""What the demo tells: of each sheet its throws, and from its logbook the seasons, the service, where the rig stands."""

from collections import Counter
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from logger.jobs import demo_story as story
from logger.jobs import latch
from logger.jobs.importing import Imported
from logger.jobs.logbooks import opened


@dataclass(frozen=True)
class Chapter:
    """One step of the demo: what was done and what came of it."""

    title: str
    command: str
    """What a person would type for it."""
    says: tuple[str, ...]


def throws_told(done: Imported, title: str, *more: str) -> Chapter:
    """How many throws of a sheet got which verdict, with the signs above ``info``."""
    assert done.sheet is not None
    told: Counter[str] = Counter()
    for one in done.logged:
        if one.judgement is None:
            continue
        judged = one.judgement.assessment
        named = ", ".join(sign.sign for sign in judged.signs if sign.level != "info")
        verdict = f"{judged.verdict} ({named})" if named else judged.verdict
        told[f"{one.trial.direction}: {verdict}"] += 1
    figures = "; ".join(f"{count} x {what}" for what, count in told.items())
    command = f"throwbook import --rig {done.sheet.sheet.rig} --kind {done.sheet.sheet.kind} FILE..."
    return Chapter(title, command, (figures, *more))


def what_the_seasons_say(logbook: Path, rig: str) -> Chapter:
    """What two and a half years of checks say: a winter that isn't wear, a binding spot that is."""
    from logger.core.seasons.wording_trend import figure_name, forecast_text
    from logger.jobs.trend import rig_trend

    found = rig_trend(logbook, rig, story.CHECKS[-1].at.date() + timedelta(days=1))
    by_figure = {(one.figure, one.direction): one for one in found.trends}
    run, peak = by_figure["run_current", "lock"], by_figure["peak_run_current", "lock"]
    coldest = min(run.points, key=lambda point: point.ambient_c if point.ambient_c is not None else 99.0)
    says = [
        f"coldest check, {coldest.date}: {coldest.value:.2f} A measured, {coldest.corrected:.2f} A at 20 degC: "
        f"{coldest.state}",
        *(spot.sentence for spot in found.spots),
        f"{figure_name(peak.figure)}, lock: first signal {peak.first_signal}; {forecast_text(peak)}",
        f"next: {found.action.what}, because {found.action.why} ({found.action.how_sure})",
    ]
    return Chapter("What the seasons say", f"throwbook trend {rig}", tuple(says))


def did_it_help(logbook: Path, rig: str) -> Chapter:
    """Did the service help?"""
    from logger.core.quantities.number_text import interval_text
    from logger.core.seasons.wording_trend import figure_name
    from logger.jobs.trend import rig_trend

    found = rig_trend(logbook, rig, story.AFTER[-1].at.date() + timedelta(days=1))
    says = [
        f"{figure_name(one.figure)}, {one.direction}: {effect.before:.2f} -> {effect.after:.2f} {one.unit}, "
        f"{interval_text(effect.change, effect.low, effect.high)}: {effect.answer}"
        for one in found.trends
        if one.figure in ("run_current", "peak_run_current")
        for effect in one.service_effects
        if effect.date == story.SERVICE_AT.date()
    ]
    return Chapter("Did the service help?", f"throwbook trend {rig}", tuple(says))


def where_it_stands(logbook: Path, rig: str) -> Chapter:
    """Status and next check."""
    with opened(logbook, read_only=True) as book:
        stands = latch.standing(book, rig, story.AFTER[-1].at.date())
    return Chapter(
        "Where the rig stands",
        f"throwbook status {rig}",
        (stands.status.level, *(f"held by: {one.sentence}" for one in stands.status.open)),
    )
