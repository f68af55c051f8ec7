"""Whatever the judging and sizing code makes of drawn cases is as it was looked at.

The other tests ask whether a figure is right. These ask whether it moved: records of one to three movements on poor boards,
sheets filled in by hand, data sheets. A change that is wanted is written anew (``tests.looked_at``) and its diff read.
"""

import numpy as np
import pytest

from tests.benchmarks.by_hand import CLAMP, SUPPLY_V, draw_rig, travel_time
from tests.benchmarks.composed import RECORDS_A_RIG, Tally, one_record, rigs_of
from tests.core.sheet_builders import NOON, TOLD, seen
from tests.core.sizing.test_intervals import RIGS
from tests.looked_at import not_as_looked_at
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import CUT_OFF, NO_RUN, STALL
from throwbook.core.records import COMMISSIONING
from throwbook.core.rig import DIRECTIONS
from throwbook.core.sheets.acceptance import acceptance
from throwbook.core.sheets.assess_hand import assess_by_hand
from throwbook.core.sheets.hand_readings import HandThrow, Instruments, Reading
from throwbook.core.sheets.shared_risk import risks
from throwbook.core.sheets.sheet import FilledSheet, SheetTrial, plan_for
from throwbook.core.sizing.sizing import fit
from throwbook.files.tables import tidy

RECORD_RIGS = (2, 3, 14, 15)
"""Two of the simulator's machines and two of other equations."""
SHEETS = 30


def judged(one):
    """The figures and decisions of an assessment; the sentences are other tests'."""
    return {
        "verdict": one.verdict,
        "end": one.end,
        **{name: [each.value, each.u] for name, each in one.figures.items() if each is not None},
        "inrush_end_s": one.inrush_end_s,
        "notes": len(one.notes),
        "signs": {
            sign.sign: [sign.level, sign.value, sign.limit, sign.at_fraction, sign.at_fraction_u, sign.from_s]
            for sign in one.signs
        },
        "checks": {check.name: [check.decision, check.limit] for check in one.checks},
        "causes": [[each.cause, each.sure] for each in one.diagnoses],
    }


@pytest.mark.parametrize("number", RECORD_RIGS)
def test_composed_records_are_judged_as_they_were_looked_at(number):
    rig = rigs_of([number])[number]
    seeds = range(number * RECORDS_A_RIG, (number + 1) * RECORDS_A_RIG)
    said = {f"{seed}": [judged(one) for one in one_record(seed, rig, Tally())[2]] for seed in seeds}
    baselines = {way: tidy(one.figures) for way, one in rig.baselines.items()}
    assert not_as_looked_at(f"records-{number}.json", said | {"baselines": baselines}) == []


def filled(seed):
    """A sheet as somebody may fill it in: some readings left out, odd ends, a baseline or none."""
    rng = np.random.default_rng([41, seed])
    rig = draw_rig(rng)
    unit = rig.actuator

    lacks, odd = (0.0, 0.0) if seed % 2 else (0.1, 0.15)

    def read(value, step):
        """As a meter shows it, or left out."""
        return None if rng.random() < lacks else Reading(round(value * rng.uniform(0.95, 1.05), 1), step)

    load = rng.uniform(0.4, 0.9)
    run_a = 0.7 * load * unit.full_load_current_a
    usual_s = travel_time(rig, run_a)
    ends = [
        rng.choice([STALL, NO_RUN, "stopped-short"]) if rng.random() < odd else CUT_OFF for _ in range(10)
    ]
    tools = Instruments(CLAMP) if seed % 3 else Instruments()
    baselines = {}
    trials = []
    for n, end in enumerate(ends):
        way = DIRECTIONS[n % 2]
        throw = HandThrow(
            way,
            time_s=read(usual_s, 0.1),
            run_current_a=read(run_a, 0.1),
            peak_current_a=read(run_a / 0.7, 0.1),
            voltage_v=read(SUPPLY_V, 0.1),
            rest_voltage_v=read(1.02 * SUPPLY_V, 0.1),
            ambient_c=Reading(float(rng.uniform(-10, 30)), 1.0) if n % 4 else None,
            ended=end,
        )
        one = assess_by_hand(throw, rig, tools, baselines.get(way))
        trials.append(SheetTrial(f"{n}", n + 1, one, started=NOON, by_hand=True))
        if n in (4, 5) and one.verdict in ("pass", "undecided") and one.end == CUT_OFF and seed % 3:
            baselines[way] = make_baseline([one], reason="as found")
    return rig, trials


@pytest.mark.parametrize("shared", [False, True])
def test_sheets_by_hand_are_judged_as_they_were_looked_at(shared):
    said = {}
    for seed in range(SHEETS):
        rig, trials = filled(seed)
        sheet = FilledSheet(
            rig.name, COMMISSIONING, plan_for(COMMISSIONING, rig), TOLD, "M. K.", shared_risk=shared
        )
        found = acceptance(sheet, trials, seen(trials), rig)
        said[f"{seed}"] = {
            "ok": found.ok,
            "verdict": found.verdict,
            "missing": len(found.missing),
            "doubts": len(found.doubts),
            "not_proved": len(found.not_proved),
            "risks": [[one.throw, one.check.name, one.chance] for one in risks(trials)],
        } | ({} if shared else {"throws": [judged(one.assessment) for one in trials]})
    assert not_as_looked_at(f"sheets-{'shared' if shared else 'guarded'}.json", said) == []


def test_data_sheets_are_sized_as_they_were_looked_at():
    said = {}
    for name, rig in RIGS.items():
        found = fit(rig)
        decided = {one.about: one.verdict for one in found.findings}
        said[name] = {"decided": decided, "numbers": tidy(found.numbers), "limits": tidy(found.limits)}
    assert not_as_looked_at("sizing.json", said) == []
