"""The main job end to end on a bundled rig: what a newcomer runs first.

Every step goes through the same jobs as the command line. The throws are simulated; the logbook, the records and the
papers they leave behind are real files, in one folder.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from logger.core.records.records import SheetState
from logger.core.sheets.practice import FOR_PRACTICE
from logger.errors import InputError
from logger.jobs import demo_story as story
from logger.jobs import latch, sheets, signing
from logger.jobs.demo_tellings import (
    Chapter,
    did_it_help,
    throws_told,
    what_the_seasons_say,
    where_it_stands,
)
from logger.jobs.demo_throws import Throws
from logger.jobs.importing import Imported, Order, import_traces
from logger.jobs.latch import Clearing
from logger.jobs.logbooks import opened
from logger.jobs.sheets import Looked

LOGBOOK = "throwbook.db"
SEEN = Looked("yes", "yes", "by eye, torch and mirror, from both sides", "yes", "yes")
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
    player.way_back(rejected)
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
        from logger.core.simulator import machine_for
        from logger.files.rigfile import rig_toml
        from logger.jobs.rig_list import add_rig
        from logger.jobs.sample_table import LOAD_SHARE, MACHINE_SEED, RIG

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
        from logger.jobs.fitting import judge_rig

        found, _ = judge_rig(str(self.rig_file))
        says = [f"verdict: {found.verdict}"]
        says += [f"{one.about}: {one.says}" for one in found.findings if one.verdict != "pass"]
        self.say(
            Chapter("Does the actuator suit the latch?", f"throwbook rig fit {self.rig.name}", tuple(says))
        )

    def bench(self) -> None:
        """Off the machine, from a rehearsal board over a serial line: nothing to move, so it must run light."""
        from logger.core.simulator import Fault
        from logger.jobs.demo_rehearsal import record_from_rehearsal

        at = story.COMMISSIONED - timedelta(days=2)
        place = self.folder / "records" / f"{at:%Y-%m-%d-%H%M}-bench"
        place.mkdir(parents=True)
        off_machine = (Fault("linkage-off"),)
        files = [
            record_from_rehearsal(
                self.rig, way, off_machine, at + timedelta(minutes=k), place / f"{k}-{way}.csv", k
            )
            for k, way in enumerate(("lock", "unlock"), 1)
        ]
        answers = {"ambient_c": 17.0, "supply": "bench battery"}
        order = Order(self.rig.name, "bench", files, answers)
        done = import_traces(self.logbook, order, story.OPERATOR, at + timedelta(minutes=45))
        self.say(
            throws_told(
                done,
                "Bench test, off the machine, recorded from a rehearsal board",
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
        state, status = signing.reject(
            self.logbook, name, "right pin beside its hole at one throw", story.OPERATOR, at
        )
        self.say(
            throws_told(
                done,
                "Commissioning, first sheet: one pin not seen",
                f"every throw within its limits, and still: at lock throw {numbers[2]} the right pin was not in its hole",
                f"sheet {state.sheet.name} {state.state}; rig: {status.level}",
            )
        )
        return state

    def way_back(self, rejected: SheetState) -> None:
        """Cause, repair, full recommissioning, signature."""
        from logger.core.standing.service import Moment, ServiceEntry
        from logger.jobs import services

        at = story.COMMISSIONED + timedelta(days=3)
        on = at.date()
        entry = ServiceEntry(
            id="",
            rig=self.rig.name,
            action="adjusted",
            on=on,
            seen=Moment("right pin beside its hole at a lock throw", story.COMMISSIONED.date()),
            found=Moment("right link one turn too short", on),
            fixed=Moment("link set to the same length as the left one", on),
            verified=Moment("both pins looked at over three throws", on),
            by=story.OPERATOR,
        )
        logged = services.add(self.logbook, entry, at)
        done = self._commission(at + timedelta(hours=1))
        assert done.sheet is not None
        accepted = signing.accept(
            self.logbook, done.sheet.sheet.name, SEEN, story.OPERATOR, at + timedelta(hours=2)
        )
        brought = Clearing(
            self._open_orders(),
            signed=story.OPERATOR,
            because="recommissioned in full, both pins looked at every throw",
            cause_found="right link one turn too short",
            service=logged.entry.id,
            sheet=done.sheet.sheet.name,
        )
        _, status = latch.clear(self.logbook, self.rig.name, brought, story.OPERATOR, at + timedelta(hours=3))
        self.say(
            throws_told(
                done,
                "Cause, repair, commissioned anew, signed",
                f"sheet {accepted.state.sheet.name} {accepted.state.state}: {accepted.acceptance.statement}",
                f"baseline frozen for {' and '.join(accepted.baselines)}; rig: {status.level}",
            )
        )

    def check(self, day: story.CheckDay) -> None:
        """A seasonal check: as found first, then three throws each way."""
        from logger.core.simulator import Conditions

        machine = self.machine.aged(day.drag_run, day.drag_run, day.spot_run, story.SPOT_PLACE, 0.05)
        conditions = Conditions(
            temperature_c=day.temperature_c, engine_running=day.engine_running, hours_at_rest=60.0
        )
        each_way = 6 if day.kind == "after-service" else 4
        done = self.throws.sheet(day.kind, day.at, machine, conditions, each_way)
        assert done.sheet is not None
        signed = signing.accept(
            self.logbook, done.sheet.sheet.name, SEEN, story.OPERATOR, day.at + timedelta(hours=1)
        )
        engine = "engine on" if day.engine_running else "engine off"
        self.say(
            throws_told(
                done,
                f"{day.kind.capitalize()} check, {day.at:%d %b %Y}, {day.temperature_c:+.0f} degC, {engine}",
                f"both pins looked at after every lock throw; sheet {signed.state.sheet.name} {signed.state.state}",
            )
        )

    def service(self) -> None:
        """The burr is dressed off and the pins are greased."""
        from logger.core.standing.service import Moment, ServiceEntry
        from logger.jobs import services

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
        services.add(self.logbook, entry, story.SERVICE_AT)
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
            because="burr dressed off and pins greased; the check after it shows no spot any more",
            cause_found=story.SERVICE["found"],
        )
        _, status = latch.clear(self.logbook, self.rig.name, brought, story.OPERATOR, at)
        self.say(
            Chapter(
                "Signed back down",
                f"throwbook order clear {self.rig.name} ...",
                (f"{brought.because}; rig: {status.level}",),
            )
        )

    def _open_orders(self) -> tuple[str, ...]:
        with opened(self.logbook, read_only=True) as book:
            return tuple(name for one in latch.status(book, self.rig.name).open for name in one.ids)

    def papers(self) -> tuple[Path, ...]:
        """What leaves the computer: the report, a blank sheet, the cab card."""
        from logger.jobs import reporting

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
        from logger.core.simulator import Conditions

        return self.throws.sheet("commissioning", at, self.machine, Conditions(temperature_c=14.0), 5)
