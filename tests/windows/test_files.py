"""Files as Windows has them: what a folder's permissions let in, what opens a paper."""

import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from throwbook.logbook.opening import writable
from throwbook_tui.context import show_file

AT_ONCE, TIMES = 8, 25


def test_a_folder_takes_files_however_many_try_it_at_once(tmp_path: Path):
    together = threading.Barrier(AT_ONCE)

    def tried(_: int) -> list[bool]:
        together.wait()
        return [writable(tmp_path / "log.throwbook") for _ in range(TIMES)]

    with ThreadPoolExecutor(AT_ONCE) as pool:
        assert [all(answers) for answers in pool.map(tried, range(AT_ONCE))] == [True] * AT_ONCE
    assert list(tmp_path.iterdir()) == []


def test_a_paper_that_windows_cannot_open_is_told(tmp_path: Path):
    assert show_file(str(tmp_path / "no such report.pdf")) == 1
