"""Files as other loggers write them, made from one throw: what they look like, and what reading them must give.

Layouts are our own, drawn after common practice: separators, marks, head lines and clocks that loggers are set to.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from throwbook.core.trace import Trace
from throwbook.files.trace_file import read_trace

THROW = read_trace(Path(__file__).parents[2] / "sample-runs" / "baseline" / "lock-1.csv")
BEGAN = datetime(2026, 3, 14, 9, 12, 33, tzinfo=UTC)

Row = tuple[float, float, float]
"""Time [s] from the first row, current [A], voltage [V]."""


def rows(trace: Trace = THROW) -> list[Row]:
    assert trace.voltage_v is not None
    return list(zip(trace.time_s, trace.current_a, trace.voltage_v, strict=True))


def comma(number: float, places: int) -> str:
    return f"{number:.{places}f}".replace(".", ",")


def grouped(number: float, places: int, group: str, mark: str) -> str:
    return f"{number:,.{places}f}".replace(",", "\0").replace(".", mark).replace("\0", group)


def clock(began: datetime, time_s: float, mark: str = ".", places: int = 3) -> str:
    at = began + timedelta(seconds=round(time_s, places))
    return f"{at:%H:%M:%S}{mark}{at.microsecond // 10 ** (6 - places):0{places}d}"


def table(head: str, line: Callable[[Row], str], of: Sequence[Row] | None = None) -> str:
    """``head`` and a line for each row."""
    return head + "".join(line(row) + "\n" for row in (rows() if of is None else of))


def midnight(row: Row) -> str:
    began = datetime(2026, 3, 14, 23, 59, 55, tzinfo=UTC)
    return f"{clock(began, row[0], ',')};{comma(row[1], 3)};{comma(row[2], 3)}"


def iso(row: Row) -> str:
    return f"2026-03-14T{clock(BEGAN, row[0])}+01:00,{row[1]:.3f},{row[2]:.3f}"


def day_number(row: Row) -> str:
    days = (BEGAN - datetime(1899, 12, 30, tzinfo=UTC)).total_seconds() / 86400.0 + row[0] / 86400.0
    return f"{comma(days, 10)};{comma(row[1], 3)};{comma(row[2], 3)}"


@dataclass(frozen=True)
class OtherLogger:
    """One file, and how it must be read."""

    name: str
    content: bytes
    said: tuple[str, ...]
    """Words of the line that says how it was read."""
    began: datetime | None = None
    """When its first row was taken, on the clock of the wall; None: the file doesn't say."""
    has_voltage: bool = True
    step_s: float = 0.0001
    """How finely its times are written [s]."""
    options: dict[str, str] = field(default_factory=dict)
    """``decimal``, ``date_order``: what a person must have said."""


OTHER_LOGGERS = (
    OtherLogger(
        "semicolons, decimal commas, UTF-16 and lines before the header",
        table(
            "Messung Riegelantrieb\nGerät;Stromzange 3\nAbtastrate;100 Hz\n\nZeit [s];Strom [A];Spannung [V]\n",
            lambda row: ";".join((comma(row[0], 4), comma(row[1], 3), comma(row[2], 3))),
        ).encode("utf-16"),
        ("semicolons", "decimal comma", "UTF-16", "lines 1 to 4"),
    ),
    OtherLogger(
        "a tab-separated export of an oscilloscope with lines of its settings",
        table(
            "Model\tDSO\nRecord Length\t1243\nSample Interval\t0.01\tsec\nVertical Units\tA\tV\n\nSecond\tAmpere\tVolt\n",
            lambda row: f"{row[0]:+.6E}\t{row[1]:+.5E}\t{row[2]:+.5E}",
        ).encode(),
        ("tabs", "lines 1 to 5", "time in s", "current in A"),
    ),
    OtherLogger(
        "a clock that crosses midnight",
        table("Uhrzeit;Strom (A);Spannung (V)\n", midnight).encode(),
        ("time of day", "midnight"),
        step_s=0.001,
    ),
    OtherLogger(
        "day numbers of a spreadsheet",
        table("Timestamp;Current (A);Voltage (V)\n", day_number).encode(),
        ("day numbers",),
        began=BEGAN,
        step_s=0.0001,
    ),
    OtherLogger(
        "milliampere and milliseconds",
        table(
            "Time (ms),Current (mA),Voltage (mV)\n",
            lambda row: f"{1e3 * row[0]:.1f},{1e3 * row[1]:.0f},{1e3 * row[2]:.0f}",
        ).encode("utf-8-sig"),
        ("time in ms", "current in mA", "voltage in mV"),
    ),
    OtherLogger(
        "microseconds and names with the unit behind an underscore",
        table(
            "index,time_us,current_ma\n",
            lambda row: f"{round(100 * row[0])},{1e6 * row[0]:.0f},{1e3 * row[1]:.0f}",
        ).encode(),
        ("time in us", "current in mA"),
        has_voltage=False,
    ),
    OtherLogger(
        "a column for the date and one for the time",
        table(
            "Date,Time,Amps,Volts\n",
            lambda row: f"2026-03-14,{clock(BEGAN, row[0])},{row[1]:.3f},{row[2]:.3f}",
        ).encode(),
        ("date", "time of day"),
        began=BEGAN,
        step_s=0.001,
    ),
    OtherLogger(
        "a date of dots and a clock in one cell",
        table(
            "Datum/Uhrzeit;Strom A;Spannung V\n",
            lambda row: f"14.03.2026 {clock(BEGAN, row[0], ',')};{comma(row[1], 3)};{comma(row[2], 3)}",
        ).encode("cp1252"),
        ("decimal comma",),
        began=BEGAN,
        step_s=0.001,
    ),
    OtherLogger(
        "ISO 8601",
        table("timestamp,current_a,voltage_v\n", iso).encode(),
        ("ISO 8601",),
        began=BEGAN,
        step_s=0.001,
    ),
    OtherLogger(
        "a clock of twelve hours",
        table(
            "Time\tCurrent [A]\n",
            lambda row: (
                f"{(datetime(2026, 3, 14, 12, 59, 55, tzinfo=UTC) + timedelta(seconds=round(row[0], 3))):%I:%M:%S.%f}"[
                    :-3
                ]
                + f" PM\t{row[1]:.3f}"
            ),
        ).encode(),
        ("time of day",),
        has_voltage=False,
        step_s=0.001,
    ),
    OtherLogger(
        "thousands parted by points",
        table(
            "Zeit in ms;Strom in mA;Spannung in V\n",
            lambda row: ";".join(
                (grouped(1e3 * row[0], 1, ".", ","), grouped(1e3 * row[1], 0, ".", ","), comma(row[2], 3))
            ),
        ).encode(),
        ("decimal comma", "thousands"),
    ),
    OtherLogger(
        "thousands parted by commas, in quotes",
        table(
            '"Time (ms)","Current (mA)"\n',
            lambda row: f'"{1e3 * row[0]:,.1f}","{1e3 * row[1]:,.0f}"',
        ).encode(),
        ("decimal point", "thousands"),
        has_voltage=False,
    ),
    OtherLogger(
        "units in a row of their own",
        table(
            "Time,Channel A,Channel B\n(ms),(A),(V)\n\n",
            lambda row: f"{1e3 * row[0]:.1f},{row[1]:.3f},{row[2]:.3f}",
        ).encode(),
        ("time in ms", "'Channel A'"),
    ),
    OtherLogger(
        "a header in quotes and bare line ends",
        table('"Time, s","Current, A","Voltage, V"\n', lambda row: f"{row[0]:.4f},{row[1]:.3f},{row[2]:.3f}")
        .replace("\n", "\r")
        .encode(),
        ("commas",),
    ),
    OtherLogger(
        "UTF-16 without a mark, and a separator behind the last column",
        table("t/s\tI/A\tU/V\t\r\n", lambda row: f"{row[0]:.4f}\t{row[1]:.3f}\t{row[2]:.3f}\t").encode(
            "utf-16-le"
        ),
        ("UTF-16", "tabs"),
    ),
    OtherLogger(
        "letters of an old code page",
        table(
            "Zeit [µs];Höhe [mm];Strom [A]\n", lambda row: f"{1e6 * row[0]:.0f};0;{comma(row[1], 3)}"
        ).encode("cp1252"),
        ("time in us", "Windows-1252"),
        has_voltage=False,
    ),
    OtherLogger(
        "the day before the month, as a person said",
        table(
            "Date;Time;Current [A]\n",
            lambda row: f"03/04/2026;{clock(BEGAN, row[0])};{row[1]:.3f}",
        ).encode(),
        ("3 April 2026",),
        began=BEGAN.replace(month=4, day=3),
        has_voltage=False,
        step_s=0.001,
        options={"date_order": "day"},
    ),
    OtherLogger(
        "commas that may be thousands, as a person said",
        table(
            "Time [ms]\tCurrent [mA]\n", lambda row: f"{1e3 * row[0] + 1000:,.0f}\t{1e3 * row[1]:.0f}"
        ).encode(),
        ("decimal point",),
        has_voltage=False,
        step_s=0.001,
        options={"decimal": "point"},
    ),
)


def expected(case: OtherLogger) -> dict[str, np.ndarray]:
    """What must come of it: times from the first row on."""
    found = {"time_s": THROW.time_s - THROW.time_s[0], "current_a": THROW.current_a}
    return found | ({"voltage_v": THROW.voltage_v} if case.has_voltage else {})
