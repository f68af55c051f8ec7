"""Judged trials made by hand: shapes for the JSON and the table, no measurement behind them."""

from throwbook.core.assessment import (
    Assessment,
    Check,
    Diagnosis,
    Figures,
    Measured,
    Sign,
)

HEALTHY = Assessment(
    file="lock-01.csv",
    direction="lock",
    usable=True,
    unusable_because="",
    figures=Figures(
        start_s=Measured(1.005, 0.005),
        end_s=Measured(13.4, 0.01),
        travel_time_s=Measured(12.395, 0.011),
        inrush_a=Measured(4.9, 0.1),
        run_current_a=Measured(1.42, 0.03),
        peak_run_current_a=Measured(1.8, 0.05),
        mean_voltage_v=Measured(12.3, 0.06),
        travel_fraction=Measured(1.0, 0.01),
    ),
    end="cut-off",
    signs=(),
    checks=(
        Check("running current", Measured(1.42, 0.03), 2.88, "max", "A", "80 % of rated", "pass"),
        Check("supply_under_load", Measured(12.3, 0.06), 10.8, "min", "V", "90 % of nominal", "pass"),
    ),
    diagnoses=(),
    verdict="pass",
    because="Within every limit.",
)

BINDING = Assessment(
    file="lock-\x1b[2J02.csv",
    direction="lock",
    usable=True,
    unusable_because="",
    figures=Figures(
        start_s=Measured(1.005, 0.005),
        run_current_a=Measured(2.95, 0.03),
        stall_current_a=Measured(float("nan"), float("inf")),
    ),
    end="still-running",
    signs=(
        Sign(
            "binding-spot",
            "fail",
            "heavier at 62 % of the stroke",
            value=0.9,
            limit=0.2,
            unit="A",
            at_fraction=0.62,
            at_fraction_u=0.02,
            from_s=7.5,
        ),
    ),
    checks=(
        Check(
            "running current",
            Measured(2.95, 0.03),
            2.88,
            "max",
            "A",
            "80 % of rated",
            "undecided",
            "three more throws",
        ),
    ),
    diagnoses=(
        Diagnosis(
            "something catches at one place",
            "likely",
            ("the attachment's own hole",),
            "Put the attachment off on the ground and throw again",
            ("binding-spot",),
        ),
    ),
    verdict="fail",
    because="It catches at 62 % of the stroke.",
    provisional=True,
)
