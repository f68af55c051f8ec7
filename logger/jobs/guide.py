"""The parts of the guide that are made from the program: the page of signs, and a picture of each from the sample runs."""

from collections.abc import Iterator
from pathlib import Path

from logger.core.stroke.cause import Cause
from logger.core.stroke.diagnosis import CAUSES
from logger.errors import OutsideError
from logger.jobs.assess import Reading, baselines_from, trace_paths
from logger.jobs.sample_table import SAMPLE_RUNS, SampleRun

PICTURES = "pictures"
HEALTHY = "healthy/lock-mild.csv"

# sign: what it means (the contract's words), and what to do about it.
SIGN_WORDS: dict[str, tuple[str, str]] = {
    "no-start": (
        "No current when there should be some.",
        "Find the open circuit: switch, relay, fuse, plug, wire.",
    ),
    "stall": (
        "The motor stood still under voltage.",
        "Stop using it. Power isolated, key out; find what blocks it; repair, log it, commission anew in full.",
    ),
    "end-stop": (
        "It stalled at the end of travel: the limit switch did not cut off.",
        "Set or replace the limit switch, or give the excess stroke somewhere to go.",
    ),
    "stopped-short": (
        "The current fell to zero before the travel was done.",
        "Stop using it after a lock throw that does this. Look at both pins; find what cut it off.",
    ),
    "no-end": (
        "The motor runs on and nothing ends it.",
        "Let go of the switch. Watch the rod: does it move at all?",
    ),
    "light-run": (
        "Near no-load current all the way: the drive isn't moving the mechanism. It may look healthier than healthy.",
        "Stop using it. Look at linkage, clevis pins and both lock pins.",
    ),
    "slow-travel": (
        "Slower than current and voltage account for.",
        "Measure at the actuator's own plug while it runs.",
    ),
    "low-supply": (
        "The supply itself is low, at rest too.",
        "Charge or replace the battery; repeat with the engine on.",
    ),
    "supply-drop": (
        "Too much voltage lost per ampere upstream of the board.",
        "Clean plug and ground, or lay a thicker cable (throwbook rig fit reckons it).",
    ),
    "drag": ("Heavier over the whole travel.", "Clean and grease screw and pins; then check again."),
    "binding-spot": (
        "Heavier at one place, which the baseline doesn't have.",
        "Look at that place: dress the burr, straighten or replace the pin, clear the mud.",
    ),
    "over-rated": (
        "Running current above the rated maximum.",
        "Stop and find the load; a larger actuator is the last step.",
    ),
    "uneven-sides": (
        "The load comes in two steps, one side after the other (info).",
        "Set both links to one length.",
    ),
    "free-play": (
        "The load is taken up later than in the baseline.",
        "Feel for play by hand, power isolated; replace what is worn.",
    ),
    "duty-exceeded": (
        "Run and rest break the rated duty cycle.",
        "Let it cool; keep the rests that the sheet asks for.",
    ),
    "clipped": ("The current ran into the end of the board's range.", "Take a sensor with a wider range."),
    "gaps": ("Samples are missing in the record.", "Seat the cable; record again."),
    "interruption": (
        "The current broke off in mid-throw and came back with a surge.",
        "Move plugs one by one, clear of pins and linkage; then relay, strands, brushes.",
    ),
    "cut-record": ("The record begins or ends in mid-run.", "Record again, with rest on both sides."),
    "noisy": (
        "The current scatters more than brushes and sensor explain.",
        "Move the sense wires; then plug, ground, brushes.",
    ),
}
INTRO = """# Every sign: picture, cause, remedy

<!-- Written by `make pictures` from the tables of the program and the sample runs; don't edit it by hand. -->

The pictures are simulated (see [the sample runs](../../sample-runs/README.md)). Upper chart: current over time. Lower chart:
current over travel, beside the band of the baseline. A sign is what the record shows; a cause is what would explain it,
with its rivals and the action that tells them apart.

**No sign is no proof.** A throw can complete with a pin beside its hole and draw the very same current. Look at both pins,
each by itself, at every change, and do the maker's load check. Power isolated and key out before hands go near the pins.

A healthy throw:

![A healthy lock throw: start-up peak, even run inside the band of the baseline, cut off by the limit switch](../../sample-runs/pictures/lock-mild.svg)
"""


def pictured() -> Iterator[tuple[str, SampleRun]]:
    """The sample run whose picture stands for each sign, in the order of the guide; the healthy one last."""
    for sign in SIGN_WORDS:
        run = next((run for run in SAMPLE_RUNS if run.sign == sign), None)
        if run is not None:
            yield sign, run
    yield "", next(run for run in SAMPLE_RUNS if run.path == HEALTHY)


def write_pictures(samples: Path, guide: Path) -> list[Path]:
    """Draw every picture into ``samples/pictures`` and write ``guide/signs.md``; gives what was written.

    Raises InputError where the sample runs aren't there, OutsideError when the disk refuses.
    """
    from logger.core.stroke.assess import assess_trace
    from logger.files.rigfile import read_rig
    from logger.report.plots import Subject
    from logger.report.sign_pictures import write_picture

    rig = read_rig(samples / "yard-loader.toml")
    baselines = baselines_from(trace_paths([samples / "baseline"]), rig, Reading())
    folder = samples / PICTURES
    written = []
    try:
        folder.mkdir(exist_ok=True)
        for _, run in pictured():
            trace, baseline = Reading().read(samples / run.path), baselines.get(run.direction)
            path = folder / f"{Path(run.path).stem}.svg"
            write_picture(Subject(trace, assess_trace(trace, rig, baseline), rig, baseline), path)
            written.append(path)
        page = guide / "signs.md"
        page.write_text(signs_page(), encoding="utf-8", newline="\n")
    except OSError as error:
        what = f"writing failed ({error.strerror})"
        raise OutsideError(what, str(folder), "Name a folder you may write to.") from error
    return [*written, page]


def _when(cause: Cause, of_how_many: int) -> str:
    """What a record has to show for this cause to be named; nothing where a sign has but one."""
    if of_how_many == 1:
        return ""
    said = (cause.fits.__doc__ or "Otherwise.").strip().splitlines()[0].rstrip(".")
    return f"*{said}:* "


def _cause(cause: Cause) -> str:
    return (
        f"{cause.sure.capitalize()} cause: {cause.cause}. Could also be: {'; '.join(cause.rivals)}. "
        f"To tell: {cause.action}"
    )


def signs_page() -> str:
    """The page of signs, from the tables."""
    parts = [INTRO]
    with_picture = dict(pictured())
    for sign, (means, remedy) in SIGN_WORDS.items():
        parts.append(f"## `{sign}`\n\n{means}\n")
        run = with_picture.get(sign)
        if run is not None:
            name = Path(run.path).stem
            parts.append(
                f"![{run.shows}](../../sample-runs/pictures/{name}.svg)\n\n*{run.path}: {run.shows}.*\n"
            )
        causes = [cause for cause in CAUSES if cause.sign == sign]
        parts += [f"- {_when(cause, len(causes))}{_cause(cause)}" for cause in causes]
        parts.append(f"\nWhat to do: {remedy}\n")
    return "\n".join(parts)
