"""The demo: one bundled rig from the bench to its third winter, as a newcomer runs it first.

Every step goes through the same jobs as the command line. The throws are simulated; the logbook, the records and the
papers they leave behind are real files, in one folder.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from throwbook.core.records import AFTER_SERVICE, PinAnswers, SheetState
from throwbook.core.rig import SIDES
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.core.wording import SIGNS, TREND_STATES
from throwbook.errors import InputError
from throwbook.jobs import demo_data as story
from throwbook.jobs import latch, maintenance, sheets, sign_off
from throwbook.jobs.demo_data import Throws, record_from_rehearsal
from throwbook.jobs.find import judge_rig, opened
from throwbook.jobs.import_traces import Imported, ImportPlan, import_traces
from throwbook.jobs.latch import Clearing


@dataclass(frozen=True)
class Chapter:
    """One step of the demo: what was done and what came of it."""

    title: str
    command: str
    """What a person would type for it."""
    says: tuple[str, ...]


def throws_chapter(done: Imported, title: str, *more: str) -> Chapter:
    """How many throws of a sheet got which verdict, with the signs above ``info``."""
    assert done.sheet is not None
    verdicts: Counter[str] = Counter()
    for one in done.logged:
        if one.judgement is None:
            continue
        judged = one.judgement.assessment
        named = ", ".join(
            f"{SIGNS[sign.sign].column} {sign.side.upper()}".strip()
            for sign in judged.signs
            if sign.level != "info"
        )
        verdict = f"{judged.verdict} ({named})" if named else judged.verdict
        verdicts[f"{one.trial.direction}: {verdict}"] += 1
    figures = "; ".join(f"{count} x {what}" for what, count in verdicts.items())
    command = f"throwbook import --rig {done.sheet.sheet.rig} --kind {done.sheet.sheet.kind} FILE..."
    return Chapter(title, command, (figures, *more))


def what_the_seasons_say(logbook: Path, rig: str) -> Chapter:
    """What two and a half years of checks say: a winter that isn't wear, a binding spot that is."""
    from throwbook.core.trend.history import SWITCH_LAG
    from throwbook.core.trend.trend_result import change_text, figure_name, forecast_said
    from throwbook.jobs.trend import rig_trend

    found = rig_trend(logbook, rig, story.CHECKS[-1].at.date() + timedelta(days=1))
    by_figure = {(one.figure, one.direction): one for one in found.trends}
    run, peak, lag = (by_figure[figure, "lock"] for figure in ("run_current", "peak_run_current", SWITCH_LAG))
    coldest = min(run.points, key=lambda point: point.ambient_c if point.ambient_c is not None else 99.0)
    says = [
        f"coldest check, {coldest.date}: {coldest.value:.2f} A measured, {coldest.corrected:.2f} A at 20 degC: "
        f"{TREND_STATES[coldest.state].column}",
        *(spot.sentence for spot in found.spots),
        *(
            f"{figure_name(one.figure)}, lock: {change_text(one)}; first out of control {one.first_signal}; "
            f"{forecast_said(one)}"
            for one in (peak, lag)
        ),
        f"next: {found.action.what}. Why: {found.action.reason.rstrip('.')}",
    ]
    return Chapter("Trend over the seasons", f"throwbook trend {rig}", tuple(says))


def did_it_help(logbook: Path, rig: str) -> Chapter:
    """Did the service help?"""
    from throwbook.core.trend.history import SWITCH_LAG
    from throwbook.core.trend.trend_result import effect_change_text, figure_name
    from throwbook.jobs.trend import rig_trend
    from throwbook.report.sections import amount

    found = rig_trend(logbook, rig, story.AFTER[-1].at.date() + timedelta(days=1))
    says = [
        f"{figure_name(one.figure)}, {one.direction}: {amount(effect.before, one.unit)} -> {amount(effect.after, one.unit)}, "
        f"{effect_change_text(one, effect)}: {effect.answer}"
        for one in found.trends
        if one.figure in ("run_current", "peak_run_current", SWITCH_LAG)
        for effect in one.service_effects
        if effect.date == story.SERVICE_AT.date()
    ]
    return Chapter("Did the service help?", f"throwbook trend {rig}", tuple(says))


def where_it_stands(logbook: Path, rig: str) -> Chapter:
    """Status and next check."""
    with opened(logbook, read_only=True) as book:
        stands = latch.rig_status(book, rig, story.AFTER[-1].at.date())
    return Chapter(
        "Status of the rig",
        f"throwbook status {rig}",
        (stands.status.level, *(f"open order: {one.sentence}" for one in stands.status.open)),
    )


LOGBOOK = "throwbook.db"
SEEN = PinAnswers("yes", "yes", "by eye, lamp and mirror, from both sides", "yes", "yes")
PHOTOGRAPHED = "a photograph of each pin stands beside what was seen at the first lock throw"
Say = Callable[[Chapter], None]


@dataclass(frozen=True)
class Demo:
    """What the demo left behind."""

    folder: Path
    logbook: Path
    papers: tuple[Path, ...]


def run_demo(folder: Path, say: Say) -> Demo:
    """Play the story into ``folder`` (empty or not there yet); each chapter is handed to ``say`` as it is done.

    Raises InputError where the folder isn't empty.
    """
    if folder.exists() and any(folder.iterdir()):
        raise InputError("this folder isn't empty", str(folder), "Give a new one with --folder.")
    folder.mkdir(parents=True, exist_ok=True)
    player = _Player(folder, say)
    player.fit()
    player.bench()
    rejected = player.commission_one_pin_not_seen()
    player.steps_to_clear(rejected)
    for day in story.CHECKS:
        player.check(day)
    say(what_the_seasons_say(player.logbook, player.rig.name))
    player.service()
    player.check(story.AFTER[0])
    player.sign_down(story.AFTER[0].at + timedelta(hours=2))
    for day in story.AFTER[1:]:
        player.check(day)
    say(did_it_help(player.logbook, player.rig.name))
    say(where_it_stands(player.logbook, player.rig.name))
    papers = player.papers()
    return Demo(folder, player.logbook, papers)


class _Player:
    """Carries the machine, the logbook and the clock from chapter to chapter."""

    def __init__(self, folder: Path, say: Say) -> None:
        from throwbook.core.simulator import machine_for
        from throwbook.files.rig_file import rig_toml
        from throwbook.jobs.rigs import add_rig
        from throwbook.jobs.sample_runs import LOAD_SHARE, MACHINE_SEED, RIG

        self.folder, self.say = folder, say
        self.logbook = folder / LOGBOOK
        self.rig = RIG
        self.rig_file = folder / f"{RIG.name}.toml"
        self.rig_file.write_text(rig_toml(RIG), encoding="utf-8")
        self.machine = machine_for(RIG, MACHINE_SEED, LOAD_SHARE)
        self.throws = Throws(folder, self.logbook, RIG.name)
        add_rig(self.logbook, self.rig_file, story.OPERATOR, story.COMMISSIONED, FOR_PRACTICE)

    def fit(self) -> None:
        """Before money is spent: does the actuator suit the mechanism?"""
        found, _ = judge_rig(str(self.rig_file))
        says = [f"verdict: {found.verdict}"]
        says += [f"{one.about}: {one.says}" for one in found.findings if one.verdict != "pass"]
        self.say(
            Chapter(
                "Does the actuator suit the mechanism?", f"throwbook rig fit {self.rig.name}", tuple(says)
            )
        )

    def bench(self) -> None:
        """Off the machine, from a simulated board over a serial line: nothing to move, so it must run light."""
        from throwbook.core.simulator import SimulatedFault

        at = story.COMMISSIONED - timedelta(days=2)
        place = self.folder / "records" / f"{at:%Y-%m-%d-%H%M}-bench"
        place.mkdir(parents=True)
        off_machine = (SimulatedFault("linkage-off"),)
        files = [
            record_from_rehearsal(
                self.rig, way, off_machine, at + timedelta(minutes=k), place / f"{k}-{way}.csv", k
            )
            for k, way in enumerate(("lock", "unlock"), 1)
        ]
        answers = {"ambient_c": 17.0, "supply": "bench battery"}
        order = ImportPlan(self.rig.name, "bench", files, answers)
        done = import_traces(self.logbook, order, story.OPERATOR, at + timedelta(minutes=45))
        self.say(
            throws_chapter(
                done,
                "Bench test, off the machine, recorded from a simulated board",
                f"throwbook record --rig {self.rig.name} --direction lock --port PORT, at 8 times real time",
            )
        )

    def commission_one_pin_not_seen(self) -> SheetState:
        """The first commissioning sheet: every figure is fine, and one pin isn't where it should be."""
        done = self._commission(story.COMMISSIONED)
        sheet = done.sheet
        assert sheet is not None
        name = sheet.sheet.name
        locks = [one for one in done.logged if one.trial.direction == "lock"]
        numbers = [one.placement.position for one in locks if one.placement is not None]
        at = story.COMMISSIONED + timedelta(hours=1)
        sheets.see(self.logbook, name, numbers[:2] + numbers[3:], SEEN, story.OPERATOR, at)
        missed = replace(SEEN, right_pin="no", load_check="not looked")
        sheets.see(self.logbook, name, [numbers[2]], missed, story.OPERATOR, at)
        state, status = sign_off.reject(
            self.logbook, name, "right pin beside its hole at one throw", story.OPERATOR, at
        )
        self.say(
            throws_chapter(
                done,
                "Commissioning, first sheet: one pin not seen",
                f"every throw inside its limits; yet at lock throw {numbers[2]} the right pin was seen NOT in its hole",
                f"sheet {state.sheet.name} {state.state}; rig: {status.level}",
            )
        )
        return state

    def steps_to_clear(self, rejected: SheetState) -> None:
        """Cause, repair, full recommissioning, signature."""
        from throwbook.core.status.maintenance import Moment, ServiceEntry

        at = story.COMMISSIONED + timedelta(days=3)
        on = at.date()
        entry = ServiceEntry(
            id="",
            rig=self.rig.name,
            action="adjusted",
            on=on,
            seen=Moment("right pin beside its hole at a lock throw", story.COMMISSIONED.date()),
            found=Moment("right link one turn too short", on),
            fixed=Moment("link set to the same length as the left one; a switch fitted at each pin", on),
            verified=Moment("both pins looked at over three throws", on),
            by=story.OPERATOR,
        )
        logged = maintenance.add(self.logbook, entry, at)
        self.throws.has_switches = True
        done = self._commission(at + timedelta(hours=1))
        assert done.sheet is not None
        self._photographs(done)
        accepted = sign_off.accept(
            self.logbook, done.sheet.sheet.name, SEEN, story.OPERATOR, at + timedelta(hours=2)
        )
        brought = Clearing(
            self._open_orders(),
            signed=story.OPERATOR,
            because="commissioned again in full, both pins looked at after every lock throw",
            cause_found="right link one turn too short",
            service=logged.entry.id,
            sheet=done.sheet.sheet.name,
        )
        _, status = latch.clear(self.logbook, self.rig.name, brought, story.OPERATOR, at + timedelta(hours=3))
        self.say(
            throws_chapter(
                done,
                "Cause found, repaired, commissioned again, signed",
                PHOTOGRAPHED,
                f"sheet {accepted.state.sheet.name} {accepted.state.state}: {accepted.acceptance.statement}",
                f"baseline set for {' and '.join(accepted.baselines)}; rig: {status.level}",
            )
        )

    def _photographs(self, done: Imported) -> None:
        """At the first lock throw both pins are looked at, and a picture of each is kept beside the answers."""
        first = next(one for one in done.logged if one.trial.direction == "lock")
        assert first.trial.started is not None
        assert first.placement is not None
        assert done.sheet is not None
        at = first.trial.started + timedelta(seconds=40)
        place = self.folder / "photographs"
        files = {pin: story.draw_pin(place / f"{at:%Y-%m-%d}-{pin}-pin.jpg", pin, at) for pin in SIDES}
        sheets.see(
            *(self.logbook, done.sheet.sheet.name, [first.placement.position], SEEN, story.OPERATOR, at),
            photographs=files,
        )

    def check(self, day: story.CheckDay) -> None:
        """A seasonal check: as found first, then three throws each way."""
        from throwbook.core.simulator import SimulatedFault, ThrowConditions

        machine = self.machine.aged(day.drag_run, day.drag_run, day.spot_run, story.SPOT_PLACE, 0.05)
        conditions = ThrowConditions(
            temperature_c=day.temperature_c, engine_running=day.engine_running, hours_at_rest=60.0
        )
        late = (SimulatedFault("pin-late", day.right_late, side="right"),) if day.right_late else ()
        done = self.throws.sheet(
            day.kind, day.at, machine, conditions, 6 if day.kind == AFTER_SERVICE else 4, late
        )
        assert done.sheet is not None
        proved = day is story.AFTER[-1]
        if proved:
            self._photographs(done)
        signed = sign_off.accept(
            self.logbook, done.sheet.sheet.name, SEEN, story.OPERATOR, day.at + timedelta(hours=1)
        )
        engine = "engine on" if day.engine_running else "engine off"
        self.say(
            throws_chapter(
                done,
                f"{day.kind.capitalize()} check, {day.at:%d %b %Y}, {day.temperature_c:+.0f} degC, {engine}",
                f"both pins looked at after every lock throw; sheet {signed.state.sheet.name} {signed.state.state}",
                *([PHOTOGRAPHED] if proved else []),
            )
        )

    def service(self) -> None:
        """The burr is dressed off and the pins are greased."""
        from throwbook.core.status.maintenance import Moment, ServiceEntry

        on = story.SERVICE_AT.date()
        entry = ServiceEntry(
            id="",
            rig=self.rig.name,
            action="cleaned",
            on=on,
            seen=Moment(story.SERVICE["seen"], on),
            found=Moment(story.SERVICE["found"], on),
            fixed=Moment(story.SERVICE["fixed"], on),
            verified=Moment(story.SERVICE["verified"], on),
            by=story.OPERATOR,
        )
        maintenance.add(self.logbook, entry, story.SERVICE_AT)
        self.say(
            Chapter(
                f"Service, {story.SERVICE_AT:%d %b %Y}",
                f"throwbook service add {self.rig.name}",
                tuple(f"{name}: {text}" for name, text in story.SERVICE.items()),
            )
        )

    def sign_down(self, at: datetime) -> None:
        """The check after the service was clean: a person signs the rig back down from watch."""
        brought = Clearing(
            self._open_orders(),
            signed=story.OPERATOR,
            because="burr dressed off and pins greased; the check after it shows no binding spot and no lag of the right pin",
            cause_found=story.SERVICE["found"],
        )
        _, status = latch.clear(self.logbook, self.rig.name, brought, story.OPERATOR, at)
        self.say(
            Chapter(
                "Orders cleared by a signature",
                f"throwbook order clear {self.rig.name} ...",
                (f"{brought.because}; rig: {status.level}",),
            )
        )

    def _open_orders(self) -> tuple[str, ...]:
        with opened(self.logbook, read_only=True) as book:
            return tuple(name for one in latch.status(book, self.rig.name).open for name in one.ids)

    def papers(self) -> tuple[Path, ...]:
        """What leaves the computer: the report, a blank sheet, the cab card."""
        from throwbook.jobs import papers as reporting

        place, name = self.folder / "papers", self.rig.name
        issue = reporting.Issue(place, story.AFTER[-1].at.date() + timedelta(days=1), place=story.PLACE)
        report = reporting.report_rig(self.logbook, name, issue)
        blank = reporting.blank(self.logbook, name, "seasonal", issue)
        card = reporting.card(self.logbook, name, issue)
        files = (*report.files, *blank.files, *card.files)
        says = (f"report No. {report.number}, a blank sheet and the cab card are in {place}",)
        self.say(Chapter("Papers", f"throwbook report {name} --folder {place}", says))
        return files

    def _commission(self, at: datetime) -> Imported:
        from throwbook.core.simulator import ThrowConditions

        return self.throws.sheet("commissioning", at, self.machine, ThrowConditions(temperature_c=14.0), 5)
