"""Trace files that must be refused: one table for the reader's tests and for those of the command."""

import re
from dataclasses import dataclass

HEAD = """\
# format = "throwbook-trace-1"
# rig = "quarry-loader"
# direction = "lock"
# started = 2026-03-14T09:12:33+01:00
# ambient = "4.0 degC"
"""
NAMES = "time_s,current_a,voltage_v\n"
ROWS = "0.0000,0.0120,12.610\n0.0050,0.0130,12.600\n0.0100,2.1000,12.200\n"
GOOD = HEAD + NAMES + ROWS


@dataclass(frozen=True)
class BadTrace:
    name: str
    content: str | bytes
    line: int | None
    """Number of the line that the message must name."""
    words: str
    """What the message must say."""
    columns: tuple[str, ...] = ()


def _row(name: str, row: str, words: str) -> BadTrace:
    """A good file whose line 8 is ``row``."""
    return BadTrace(name, GOOD.replace("0.0050,0.0130,12.600", row), 8, words)


def _head(name: str, old: str, new: str, line: int, words: str) -> BadTrace:
    return BadTrace(name, GOOD.replace(old, new), line, words)


BAD_TRACES = (
    _head(
        "endless brackets", '# ambient = "4.0 degC"', "# x = " + "[" * 5000, 5, "the head is not TOML here"
    ),
    _head(
        "a number without end",
        '# ambient = "4.0 degC"',
        "# x = " + "9" * 5000,
        5,
        "the head is not TOML here",
    ),
    _row("rows out of order", "-0.1,0.013,12.6", "time falls: -0.1 s after 0 s"),
    BadTrace(
        "a clock that stands still", re.sub(r"(?m)^0\.0\d+,", "0.005,", GOOD), 9, "the time does not move"
    ),
    _row("not a number", "0.005,nan,12.6", "column 'current_a' holds 'nan', not a finite number"),
    _row("infinite", "0.005,0.01,-Infinity", "column 'voltage_v' holds '-Infinity', not a finite number"),
    _row("overflows to infinite", "0.005,1e999,12.6", "far outside any possible reading"),
    _row("absurd", "0.005,1e30,12.6", "far outside any possible reading"),
    _row("text", "0.005,high,12.6", "column 'current_a' holds 'high', not a number"),
    _row("underscores", "0.005,1_0,12.6", "holds '1_0', not a number"),
    _row("other digits", "0.005,\u0663,12.6", "not a number"),
    _row("hexadecimal", "0.005,0x1,12.6", "holds '0x1', not a number"),
    _row("terminal commands", "0.005,\x1b[2J\x1b[31m,12.6", "holds '\ufffd[2J\ufffd[31m', not a number"),
    _row("empty cell", "0.005,,12.6", "column 'current_a' is empty"),
    _row("too few fields", "0.005,0.013", "2 fields where the header has 3"),
    _row("too many fields", "0.005,0.013,12.6,7", "4 fields where the header has 3"),
    _row(
        "decimal commas", "0,005,0,013,12,600", "6 fields where the header has 3. Were decimal commas used?"
    ),
    _row(
        "quoted decimal comma", '"0,005","0,013","12,6"', "holds '0,005'. Save the file with decimal points"
    ),
    _row("semicolons in a row", "0.005;0.013;12.6", "separated by semicolons"),
    _row("open quote", '"0.005,0.013,12.6', "quotes in this row don't close"),
    _row("a comment among rows", "# stopped here", "1 field where the header has 3"),
    _row("not UTF-8", "0.005,0.013\udce9,12.6", "byte 0xe9 is not UTF-8 text"),
    _row("binary in a row", "0.005,\0,12.6", "binary"),
    BadTrace("a second file appended", GOOD + GOOD, 10, "1 field where the header has 3"),
    BadTrace(
        "no current column",
        HEAD + "time_s,force\n0,1\n",
        6,
        "no column for the current among 'time_s', 'force'",
    ),
    BadTrace("no time column", HEAD + "n,current_a\n0,1\n", 6, "no column for the time"),
    BadTrace("a column twice", HEAD + "time_s,current_a,time_s\n0,1,2\n", 6, "'time_s' appears 2 times"),
    BadTrace("no header", HEAD + ROWS, 6, "numbers where the column names should be"),
    BadTrace("no rows", HEAD + NAMES, 6, "there are no rows under the header"),
    BadTrace("only a head", HEAD, 5, "the file ends before its table"),
    BadTrace("empty", "", 1, "the file is empty"),
    BadTrace("only line ends", "\n\n", 2, "the file is empty"),
    BadTrace("binary", bytes(range(256)) * 40, 1, "binary"),
    BadTrace("spreadsheet", b"PK\x03\x04" + bytes(100), 1, "a spreadsheet or zip file"),
    BadTrace("gzip", b"\x1f\x8b\x08" + bytes(100), 1, "a gzip file"),
    BadTrace("UTF-16 cut off", GOOD.encode("utf-16")[:-1], 1, "UTF-16"),
    BadTrace("a line without end", "time_s" * 20_000, 1, "does not end"),
    BadTrace("a row without end", HEAD + NAMES + "1" * 100_000, 7, "a line without an end"),
    _head("no format", '# format = "throwbook-trace-1"\n', "", 1, "the head names no format"),
    _head(
        "another format", "trace-1", "trace-9", 1, "format 'throwbook-trace-9' is not one this version reads"
    ),
    _head(
        "head that is not TOML",
        'rig = "quarry-loader"',
        "rig = quarry-loader",
        2,
        "the head is not TOML here",
    ),
    _head("key twice", "# ambient", '# rig = "x"\n# ambient', 5, "the head is not TOML here"),
    _head("direction missing", '# direction = "lock"\n', "", 1, "the direction of the throw"),
    _head("direction unknown", '"lock"', '"locked"', 3, "direction 'locked' is neither lock nor unlock"),
    _head("started without offset", "+01:00", "", 4, "not a date and time with its offset"),
    _head("started as text", "2026-03-14T09:12:33+01:00", '"today"', 4, "not a date and time"),
    _head("ambient without unit", '"4.0 degC"', "4.0", 5, "ambient '4.0' is not a temperature with its unit"),
    _head("ambient below absolute zero", "4.0 degC", "-300 degC", 5, "not a temperature"),
    _head("ambient beyond any air", "4.0 degC", "4e200 degC", 5, "not a temperature"),
    _head("rig not text", '"quarry-loader"', "7", 2, "rig is not text"),
    BadTrace("no such column", GOOD, 6, "no column 'amps'", ("current=amps",)),
    BadTrace("no such voltage", GOOD, 6, "no column 'volts'", ("voltage=volts",)),
)
BAD_TRACES = tuple(
    BadTrace(
        case.name,
        case.content.encode("utf-8", "surrogateescape") if isinstance(case.content, str) else case.content,
        case.line,
        case.words,
        case.columns,
    )
    for case in BAD_TRACES
)

BAD_CHOICES = (
    ("current", "'current' names no column"),
    ("speed=v", "names no column"),
    ("current=I [V]", "'V' is not a unit of current"),
    ("current=", "names no column"),
)
