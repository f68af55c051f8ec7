"""Random histories with throws in them: records with a fault behind a good throw, foreign and undated ones, light runs first
called a bench test, a "no" at any time and on sheets long accepted, records of another rig, and corrections that say so.

What a throw shows is judged from real samples, a sheet by the rules of acceptance, an order by the tables of the latch. What was
true - when a throw was made, whose it was, what was seen - is kept beside it for the judge.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache, cached_property

import numpy as np

from tests.core.sheet_builders import RIG as RATING
from tests.core.sheet_builders import TOLD
from tests.core.status.rig_histories import RIG, Copy, History
from tests.made_strokes import stroke
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import FAIL, Assessment
from throwbook.core.diagnosis.assess import Baselines, assess_record, for_record
from throwbook.core.records import (
    BENCH,
    COMMISSIONING,
    NO,
    SEASONAL,
    SEEN,
    SPOT,
    YES,
    Order,
    Sighting,
)
from throwbook.core.rig import LOCK, UNLOCK
from throwbook.core.sheets.acceptance_rules import RULES, AcceptanceCase
from throwbook.core.sheets.sheet import FilledSheet, Plan, SheetTrial, plan_for, seen_at
from throwbook.core.status.latch import (
    CAUSES,
    DO_NOT_USE,
    IN_SERVICE,
    MOVED_TO,
    REASSIGNED,
    RESTRICTED,
    TO_RIG,
    Proofs,
    RepairProof,
    SheetProof,
    answers_out_of_use,
    moved_raises,
    raise_order,
    status_of,
)
from throwbook.core.status.raising import (
    causes_of_failed,
    orders_of_record,
    orders_of_sighting,
)
from throwbook.core.trace import Trace

OTHER = "other-loader"
BEGUN = datetime(2026, 1, 1, tzinfo=UTC)
FLAWS = (
    "old dated",
    "old undated",
    "undated",
    "light",
    "hidden",
    "a no",
    "not looked",
    "left out",
    "simulated",
)
DELETED, SIGNED_FOR = "a sheet deleted from the file", "signed for what is missing"
SOUND, HONEST = "a sound commissioning", "put down to its own rig"
WRONG_MOVES = ("typed by hand", "the order is not there", "other samples", "no name", "the same rig")


def composed(first: Trace, second: Trace) -> Trace:
    """One file: a throw, a rest, another throw."""
    later = second.time_s + first.time_s[-1] + 8.0
    volts = None if first.voltage_v is None else np.concatenate([first.voltage_v, second.voltage_v])
    return replace(
        first,
        time_s=np.concatenate([first.time_s, later]),
        current_a=np.concatenate([first.current_a, second.current_a]),
        voltage_v=volts,
    )


RECORDS: dict[int, tuple[Trace, Baselines]] = {}
"""By the identity of an assessment: what it was judged from."""


def judged_alone(record: Trace, baselines: Baselines | None = None) -> Assessment:
    found = for_record(assess_record(record, RATING, baselines or {}))
    RECORDS[id(found)] = record, baselines or {}
    return found


@cache
def healthy(direction: str, foreign: bool) -> tuple[Assessment, ...]:
    drawn = [stroke(700 + number, direction=direction, rate_hz=50) for number in range(8)]
    found = [judged_alone(replace(one, voltage_v=None) if foreign else one) for one in drawn]
    assert all(one.verdict != FAIL for one in found)
    return tuple(found)


@cache
def hidden() -> tuple[Assessment, ...]:
    """A good throw with a fault somewhere behind it, in one file."""
    good = stroke(720, rate_hz=50)
    bad = [
        stroke(721, direction=UNLOCK, stalls_at_s=9.0, rate_hz=50),
        stroke(722, stalls_at_s=5.0, rate_hz=50),
        stroke(723, ends_at_s=6.0, rate_hz=50),
    ]
    return tuple(judged_alone(composed(good, one)) for one in bad)


@cache
def light(commissioned: bool) -> Assessment:
    """A light run; against a baseline of usual throws it fails."""
    usual = [healthy(LOCK, False)[number] for number in range(5)]
    baselines = {LOCK: make_baseline(usual)} if commissioned else {}
    return judged_alone(stroke(730, scale=0.5, rate_hz=50), baselines)


@dataclass(frozen=True)
class Sheet:
    """A sheet with throws on it; ``sealed``: throws and sightings as they stood when it was accepted."""

    id: str
    kind: str
    plan: Plan
    out_of_use: bool
    signed: str = ""
    throws: tuple[SheetTrial, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    sealed: tuple[tuple[SheetTrial, ...], tuple[Sighting, ...]] | None = None
    passes_out_of_use: bool = True
    """What the rules said at the seal, had an order that it answers taken the rig out of use."""

    @cached_property
    def due(self) -> frozenset[tuple[str, str]]:
        found = set()
        said_no = {one.trial for one in self.sightings if NO in (getattr(one, name) for name in SEEN)}
        for one in self.throws:
            failed = [(one.direction, sign.sign) for sign in one.assessment.signs if sign.level == FAIL]
            causes = causes_of_failed(self.kind, failed)
            if one.id in said_no:
                causes |= {each.cause for each in orders_of_sighting(seen_at(one.id, self.sightings))}
            found |= {(one.id, cause) for cause in causes if CAUSES[cause][0] == DO_NOT_USE}
        return frozenset(found)

    def passes(self) -> bool:
        """Whether the rules of acceptance let its throws and sightings, as they stand now, pass."""
        form = FilledSheet(RIG, self.kind, self.plan, TOLD, self.signed, answers_out_of_use=self.out_of_use)
        counting = tuple(one for one in self.throws if not one.left_out)
        left_out = tuple(one for one in self.throws if one.left_out)
        case = AcceptanceCase(form, counting, left_out, self.sightings, RATING)
        return not any(rule(case) for rule in RULES)

    def proof(self, book: "Book") -> SheetProof:
        """Sealed throws and sightings never change: only whether an order that it answers took the rig out of use may."""
        answers, services = frozenset(self.plan.answers), frozenset(self.plan.services)
        stricter = not self.passes_out_of_use and answers_out_of_use(
            answers, book.orders.values(), book.altered
        )
        holds = self.sealed is not None and not stricter
        return SheetProof(self.id, RIG, self.kind, holds, self.signed, answers, services)


@dataclass
class Book(Copy):
    """A logbook with throws; ``copies`` are trials on another rig: trial there, and the record it is made of."""

    filled: dict[str, Sheet] = field(default_factory=dict)
    copies: dict[str, str] = field(default_factory=dict)
    listed: dict[str, str] = field(default_factory=dict)
    """The list of entries: every row that was ever in this file, and ``order`` or ``row``."""

    def rows(self) -> dict[str, str]:
        """What stands in the file now, as the list of entries has it."""
        found = dict.fromkeys(self.orders, "order")
        for one in self.filled.values():
            found |= dict.fromkeys(
                (one.id, *(t.id for t in one.throws), *(s.id for s in one.sightings)), "row"
            )
        return found | dict.fromkeys((*self.sheets, *self.services), "row")

    def missing(self, kind: str) -> set[str]:
        """Rows of the list that aren't there any more."""
        return {name for name, of in self.listed.items() if of == kind} - self.rows().keys()

    def clone(self) -> "Book":
        old = super().clone()
        return Book(
            old.orders,
            old.sheets,
            old.services,
            old.altered,
            old.journal,
            dict(self.filled),
            dict(self.copies),
            dict(self.listed),
        )

    def status(self, rng=None, rig: str = RIG):
        orders = list(self.orders.values())
        if rng:
            rng.shuffle(orders)
        mine = [one for one in orders if one.rig == rig]
        sheets = {**self.sheets, **{key: one.proof(self) for key, one in self.filled.items()}}
        imported = frozenset(
            one.trial
            for one in mine
            if one.cause == REASSIGNED and View(self).came_by_import(one.trial or "")
        )
        moved = frozenset(moved_raises(rig, mine, View(self)))
        due = {pair for one in self.filled.values() for pair in one.due} if rig == RIG else set()
        evidence = Proofs(sheets, self.services, imported, moved)
        lost, gone = (self.missing(kind) if rig == RIG else set() for kind in ("order", "row"))
        rows = {name for name, kind in self.listed.items() if kind == "row"}
        return status_of(rig, orders, evidence, self.altered, lost, due, dict.fromkeys(gone, "missing"), rows)


class View:
    """What the latch asks of throws on two rigs."""

    def __init__(self, book: Book) -> None:
        self.book = book

    def rig_of_copy(self, trial: str) -> str:
        return OTHER if trial in self.book.copies else RIG if trial.startswith("t") else ""

    def same_samples(self, one: str, other: str) -> bool:
        return self.book.copies.get(other) == one

    def came_by_import(self, trial: str) -> bool:
        on = [one for one in self.book.filled.values() if any(each.id == trial for each in one.throws)]
        return (
            bool(on)
            and all(one.sealed is None for one in on)
            and all(not each.by_hand for one in on for each in one.throws if each.id == trial)
        )

    def orders(self, rig: str) -> list[Order]:
        return [one for one in self.book.orders.values() if one.rig == rig]


@dataclass(frozen=True)
class Event:
    """Something that was true of the machine, or was said of it: a row, and the orders that stand for it."""

    sheet: str
    trial: str
    sighting: str
    orders: tuple[str, ...]


class ThrowHistory(History):
    """The same three copies, with throws in them."""

    def __init__(self, seed: int) -> None:
        super().__init__(seed)
        self.copies = [Book() for _ in range(3)]
        self.events: list[Event] = []
        self.unfit: set[str] = set()
        """Trials that in truth prove nothing of this machine's latch, whatever they look like."""
        self.played: dict[str, int] = {}

    def over(self, copy: Copy) -> None:
        assert isinstance(copy, Book)
        copy.listed |= copy.rows()

    # ---- throws ----

    def true_time(self, step: int) -> datetime:
        return BEGUN + timedelta(hours=step)

    def trial(
        self, position: int, judged: Assessment, dated: bool = True, at: int | None = None, **more: object
    ) -> SheetTrial:
        name = self.name("t")
        step = self.step if at is None else at
        self.born[name] = step
        return SheetTrial(
            name,
            position,
            judged,
            started=self.true_time(step) if dated else None,
            **more,  # type: ignore[arg-type]
        )

    def planned(self, book: Book, kind: str) -> Sheet:
        held = book.status().open_ids
        started = {one.id: one.started for sheet in book.filled.values() for one in sheet.throws}
        moments = [started.get(book.orders[name].trial or "") for name in held if name in book.orders]
        moments += [
            self.true_time(self.born[key]) for key, one in book.services.items() if one.answers & set(held)
        ]
        known = [one for one in moments if one is not None]
        after = max(known).isoformat() if known else ""
        plan = plan_for(kind, RATING, None, held, tuple(book.services), after)
        out_of_use = answers_out_of_use(held, book.orders.values(), book.altered)
        return Sheet(self.name("s"), kind, plan, out_of_use)

    def put_on(self, book: Book, sheet: Sheet, throws: list[SheetTrial]) -> None:
        """Judge them and raise what they show, as every path into a logbook does."""
        book.filled[sheet.id] = replace(sheet, throws=(*sheet.throws, *throws))
        for one in throws:
            known = {(order.trial, order.cause) for order in book.orders.values() if not order.clears}
            ids = []
            for found in orders_of_record(sheet.kind, one.assessment):
                if (one.id, found.cause) not in known:
                    ids.append(self.raised(book, found.cause, trial=one.id))
            bad = one.id in self.unfit and any(
                trial == one.id and CAUSES[c][0] == DO_NOT_USE for trial, c in book.filled[sheet.id].due
            )
            if bad:
                self.events.append(Event(sheet.id, one.id, "", tuple(ids)))

    def raised(self, book: Book, cause: str, rig: str = RIG, **more: object) -> str:
        self.write(book, raise_order(rig, cause, "", self.clock(), "x", **more))  # type: ignore[arg-type]
        return next(reversed(book.orders))

    def bad_throw(self, book: Book) -> None:
        """A file with a fault behind a good throw; dated or not, typed or imported."""
        judged = self.rng.choice(hidden())
        one = self.trial(1, judged, dated=self.rng.random() < 0.6, by_hand=self.rng.random() < 0.3)
        self.unfit.add(one.id)
        self.put_on(
            book, self.planned(book, self.rng.choice([BENCH, SPOT, SPOT, SEASONAL, COMMISSIONING])), [one]
        )
        assert book.status().level == DO_NOT_USE, "a hidden fault was not seen"

    def light_run_called_a_bench_test(self, book: Book) -> None:
        one = self.trial(1, light(True), dated=self.rng.random() < 0.5)
        self.unfit.add(one.id)
        self.put_on(book, self.planned(book, BENCH), [one])
        if self.rng.random() < 0.7:  # the same file again, as what it is
            self.step += 1
            self.put_on(book, self.planned(book, SPOT), [one])
            assert book.status().level == DO_NOT_USE, "a light run hid behind a bench sheet"

    # ---- what was seen ----

    def say_no(self, book: Book) -> None:
        """At any lock throw of any sheet, however long ago it was accepted."""
        places = [(s, one) for s in book.filled.values() for one in s.throws if one.direction == LOCK]
        if not places:
            return
        sheet, one = self.rng.choice(places)
        answers = dict.fromkeys(SEEN, YES) | {self.rng.choice(SEEN): NO}
        seen = self.sighting(one.id, answers)
        book.filled[sheet.id] = replace(sheet, sightings=(*sheet.sightings, seen))
        still = {name for each in book.status().open for name in each.ids}
        ids = []
        for found in orders_of_sighting(seen_at(one.id, [seen])):
            alike = [o for o in book.orders.values() if (o.trial, o.cause) == (one.id, found.cause)]
            open_ones = [o.id for o in alike if o.id in still]
            ids += open_ones or [self.raised(book, found.cause, trial=None if alike else one.id)]
        self.events.append(Event(sheet.id, one.id, seen.id, tuple(ids)))
        assert book.status().level == DO_NOT_USE, "a no was not heard"

    def see_again(self, book: Book) -> None:
        """All well, with or without a reason: on a sealed sheet it adds nothing, an order stays."""
        for sheet in list(book.filled.values()):
            if sheet.sightings and self.rng.random() < 0.5:
                one = self.rng.choice(sheet.throws)
                old = tuple(each.id for each in sheet.sightings if each.trial == one.id)
                why = {"reason": "looked again", "replaces": old} if self.rng.random() < 0.5 else {}
                seen = replace(self.sighting(one.id, dict.fromkeys(SEEN, YES)), **why)
                book.filled[sheet.id] = replace(sheet, sightings=(*sheet.sightings, seen))

    def sighting(self, trial: str, answers: dict[str, str]) -> Sighting:
        return Sighting(
            trial,
            answers["left_pin"],
            answers["right_pin"],
            "torch",
            self.true_time(self.step),
            "M. K.",
            answers["load_check"],
            answers["retained_power_off"],
            id=self.name("g"),
        )

    # ---- the way back, with throws ----

    def walk_with_throws(self, book: Book) -> None:
        self.the_way(book, self.rng.choice((*FLAWS, *[""] * len(FLAWS))))

    def the_way(self, book: Book, flaw: str) -> None:
        if not book.status().open:
            return
        before = self.step
        self.step += 1
        repair = RepairProof(self.name("v"), RIG, "bent pin", "new pin", frozenset(book.status().open_ids))
        book.services[repair.id] = repair
        self.step += 1
        sheet = self.commissioned(book, flaw, before)
        if self.rng.random() < 0.2:
            self.step += 1
            self.say_no(book)
        self.step += 1
        order = self.clearing(book, sheet.id, repair.id)
        if order.clears:
            self.write(book, order)

    def clearing(self, book: Book, sheet: str | None, repair: str | None, **details: object) -> Order:
        told = {"cause_found": "bent pin", **details}
        named = book.status().open_ids
        return Order(
            RIG, IN_SERVICE, "cleared", "proved", self.clock(), "x", clears=named, signed="M. K.", sheet=sheet,
            service=repair, details=told,
        )  # fmt: skip

    def commissioned(self, book: Book, flaw: str, before: int) -> Sheet:
        """Ten throws, looked at and signed; with ``flaw`` they are not what they look like."""
        sheet = replace(self.planned(book, COMMISSIONING), signed="M. K.")
        old = flaw.startswith("old")
        dated = not flaw.endswith("undated")
        foreign = self.rng.random() < 0.3
        throws = []
        for position in range(1, 11):
            direction = (LOCK, UNLOCK)[1 - position % 2]
            judged = healthy(direction, foreign)[(position - 1) // 2]
            more: dict[str, object] = {}
            if position == 3:
                judged = {"light": light(False), "hidden": hidden()[0]}.get(flaw, judged)
                more = {"simulated_by": "a simulation"} if flaw == "simulated" else {}
            one = self.trial(position, judged, dated, before - 1 if old else None, **more)
            if position == 3 and flaw in ("light", "hidden", "simulated"):
                self.unfit.add(one.id)
            throws.append(one)
        if flaw == "light":  # every throw, or the spread would tell
            throws = [
                replace(one, assessment=light(False)) if one.direction == LOCK else one for one in throws
            ]
        if flaw == "left out":
            extra = replace(self.trial(11, hidden()[1]), left_out="the other attachment")
            self.unfit.add(extra.id)
            throws.append(extra)
        self.put_on(book, sheet, throws)
        answers = {one.id: dict.fromkeys(SEEN, YES) for one in throws if one.direction == LOCK}
        if flaw == "not looked":
            answers[throws[4].id][self.rng.choice(SEEN)] = "not looked"
        seen = tuple(self.sighting(trial, each) for trial, each in answers.items())
        book.filled[sheet.id] = replace(book.filled[sheet.id], sightings=seen)
        if flaw == "a no":
            self.say_no_at(book, sheet.id, throws[0].id)
        done = book.filled[sheet.id]
        if done.passes():
            stricter = replace(done, out_of_use=True).passes()
            book.filled[sheet.id] = replace(
                done, sealed=(done.throws, done.sightings), passes_out_of_use=stricter
            )
        self.played[flaw or SOUND] = self.played.get(flaw or SOUND, 0) + 1
        return book.filled[sheet.id]

    def say_no_at(self, book: Book, sheet: str, trial: str) -> None:
        seen = self.sighting(trial, dict.fromkeys(SEEN, YES) | {"left_pin": NO})
        filled = book.filled[sheet]
        book.filled[sheet] = replace(filled, sightings=(*filled.sightings, seen))
        ids = (self.raised(book, "pin not seen", trial=trial),)
        self.events.append(Event(sheet, trial, seen.id, ids))

    # ---- one record, two rigs ----

    def put_down_to_another_rig(self, book: Book) -> None:
        """A signed correction, honest or not: the copy, the order there, the word in the log, the clearance here."""
        held = [name for name in book.status().open_ids if name in book.orders and book.orders[name].trial]
        if not held:
            return
        wrong = self.rng.choice((*WRONG_MOVES[1:], *[""] * len(WRONG_MOVES)))
        raised = book.orders[self.rng.choice(held)]
        trial = str(raised.trial)
        copy = self.name("c")
        signed = "0" if wrong == "no name" else "M. K."
        if wrong != "the same rig":
            book.copies[copy] = "t-other" if wrong == "other samples" else trial
        if wrong != "the order is not there":
            self.raised(book, raised.cause, rig=OTHER, trial=copy)
        self.raised(book, REASSIGNED, trial=trial, signed=signed, details={TO_RIG: OTHER})
        order = replace(
            self.clearing(book, None, None, **{MOVED_TO: [trial if wrong == "the same rig" else copy]}),
            clears=(raised.id,),
            signed=signed,
        )
        self.write(book, order)
        typed = any(one.id == trial and one.by_hand for each in book.filled.values() for one in each.throws)
        name = "typed by hand" if typed else wrong or HONEST
        self.played[name] = self.played.get(name, 0) + 1

    def put_down_to_nobody(self, book: Book) -> None:
        held = [name for name in book.status().open_ids if name in book.orders and book.orders[name].trial]
        if not held:
            return
        trial = str(book.orders[self.rng.choice(held)].trial)
        self.raised(
            book,
            REASSIGNED,
            trial=trial,
            signed=self.rng.choice(["M. K.", "M. K.", "0"]),
            details={TO_RIG: ""},
        )
        if self.rng.random() < 0.6:
            self.step += 1
            sheet = self.commissioned(book, self.rng.choice(["", "", *FLAWS]), self.step - 1)
            self.step += 1
            order = self.clearing(book, sheet.id, None)
            if order.clears:
                self.write(book, order)

    # ---- copies ----

    def take(self, copy: Copy, other: Copy, share: float) -> None:
        super().take(copy, other, share)
        assert isinstance(copy, Book)
        assert isinstance(other, Book)
        for key, sheet in list(other.filled.items()):
            mine = copy.filled.get(key)
            if mine is None and self.rng.random() < share:
                copy.filled[key] = sheet
            elif mine is not None:
                known = {one.id for one in mine.sightings}
                more = tuple(one for one in sheet.sightings if one.id not in known)
                copy.filled[key] = replace(
                    mine, sightings=(*mine.sightings, *more), sealed=mine.sealed or sheet.sealed
                )
        copy.copies.update(other.copies)
        if share == 1.0:  # a merge brings the list along, with what is missing there
            copy.listed |= other.listed
        copy.listed |= copy.rows()

    def lose_a_row(self, copy: Copy) -> None:
        """By somebody who puts the list of entries right again."""
        assert isinstance(copy, Book)
        before = copy.rows()
        super().lose_a_row(copy)
        for name in before.keys() - copy.rows().keys():
            copy.listed.pop(name, None)

    def delete_a_sheet(self, copy: Book) -> None:
        """All of it out of the file: throws, what was seen, the seal, most often its orders too; the list of entries stays."""
        if not copy.filled:
            return
        sheet = copy.filled.pop(self.rng.choice(list(copy.filled)))
        throws = {one.id for one in sheet.throws}
        with_orders = self.rng.random() < 0.7
        for name, order in list(copy.orders.items()):
            if with_orders and (order.trial in throws or order.sheet == sheet.id):
                del copy.orders[name]
        assert copy.status().level in (RESTRICTED, DO_NOT_USE), "a deleted sheet was not missed"
        self.played[DELETED] = self.played.get(DELETED, 0) + 1
        if self.rng.random() < 0.4:
            self.over(copy)
            self.step += 1
            self.sign_for_what_is_missing(copy)

    def sign_for_what_is_missing(self, copy: Book) -> None:
        """Somebody knows what became of the rows; or doesn't give a reason, or no name."""
        gone = sorted(copy.missing("row"))
        if gone:
            because, signed = self.rng.choice([("known", "M. K.")] * 2 + [("", "M. K."), ("known", "0")])
            self.write(
                copy,
                Order(RIG, IN_SERVICE, "cleared", because, self.clock(), "x", clears=tuple(gone), signed=signed),
            )  # fmt: skip
            self.played[SIGNED_FOR] = self.played.get(SIGNED_FOR, 0) + 1

    def steps(self) -> Iterator[tuple[object, int]]:
        yield from super().steps()
        yield from (
            (self.bad_throw, 4),
            (self.light_run_called_a_bench_test, 2),
            (self.say_no, 4),
            (self.see_again, 2),
            (self.walk_with_throws, 7),
            (self.put_down_to_another_rig, 2),
            (self.put_down_to_nobody, 2),
            (self.delete_a_sheet, 2),
            (self.sign_for_what_is_missing, 1),
        )
