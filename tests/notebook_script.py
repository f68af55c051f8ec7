"""What an engineer asks of a season of throws, as a script: a checker reads its types, a test runs it.

python -m tests.notebook_script LOGBOOK
"""

import sys
from typing import assert_type

import pandas

from throwbook import LogbookReader, open_logbook_readonly, quantity


def by_season(book: LogbookReader, figure: str) -> pandas.DataFrame:
    """The highest of a figure of each rig, direction and quarter, and of how many throws."""
    trials = book.to_frame("trials")
    throws = trials[trials["usable"] & (trials["kind"] == "seasonal")]
    quarter = throws["day"].dt.to_period("Q").rename("quarter")
    return throws.groupby(["rig", "direction", quarter], observed=True)[figure].agg(["max", "count"])


def helped(book: LogbookReader, rig: str) -> pandas.DataFrame:
    """What each service changed of the running current of one rig, with its interval [A]."""
    effects = book.to_frame("service_effects", rigs=[rig])
    chosen = effects[effects["figure"] == "run_current"]
    return chosen[["date", "action", "direction", "before", "after", "change", "low", "high", "answer"]]


def due(book: LogbookReader, on: str) -> list[str]:
    """Rigs whose check is due by a day."""
    status = book.to_frame("status")
    return sorted(status.loc[(status["due_on"] <= pandas.Timestamp(on)) | status["overdue"], "rig"])


def main(path: str) -> None:
    """Print the answers."""
    with open_logbook_readonly(path) as book:
        assert_type(book.rigs, list[str])
        print(by_season(book, "peak_run_current_a").head())
        print(helped(book, book.rigs[0]))
        print("due:", *due(book, "2030-01-01"))
        checks = book.to_frame("checks")
        line = checks[checks["direction"].eq("lock") & checks["figure"].eq("run_current")]
        corrected = quantity(line, "corrected").to("mA").magnitude
        print(f"highest: {corrected.max():.0f} mA on {line['corrected'].idxmax()}")
        baseline = book.baseline(book.rigs[0], "lock")
        print("baseline throws:", None if baseline is None else baseline.n)


if __name__ == "__main__":
    main(sys.argv[1])
