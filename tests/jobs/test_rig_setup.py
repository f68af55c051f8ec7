"""A rig changed on the form: what the form doesn't ask stays."""

import tomllib
from datetime import UTC, datetime

from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.jobs.find import opened
from throwbook.jobs.rig_setup import add_setup, setup_of, start_practice
from throwbook.jobs.rigs import add_rig
from throwbook_tui.screens.rig_setup import SPECS

NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
RIG = """name = "yard-loader"
units = "metric"
retired = "sold"
[lock]
needed_travel = "188 mm"
needed_force = "600 N"
[actuator]
voltage = "12 V"
stroke = "200 mm"
rated_force = "1500 N"
no_load_speed = "16 mm/s"
no_load_current = "0.9 A"
full_load_current = "3.6 A"
duty_cycle = 0.25
duty_period = "2 min"
[board]
placed_in = "supply"
[limits]
run_current = { value = "2.8 A", reason = "cable is thin" }
"""


def test_limits_and_whatever_the_form_does_not_ask_stay_and_what_was_emptied_goes(tmp_path):
    book_path, file = tmp_path / "a.throwbook", tmp_path / "rig.toml"
    file.write_text(RIG, "utf-8")
    add_rig(book_path, file, "M. K.", NOW)
    held = setup_of(book_path, "yard-loader")
    values = {spec.key: held.get(spec.key, "") for spec in SPECS}  # as the form has them
    values |= {"lock.needed_force": "", "actuator.voltage": "24 V"}
    add_setup(book_path, values, "M. K.", NOW, "other supply")
    with opened(book_path, read_only=True) as book:
        now = tomllib.loads(book.rig("yard-loader").toml)
    expected = tomllib.loads(RIG)
    del expected["lock"]["needed_force"]
    expected["actuator"] |= {"voltage": "24 V", "duty_cycle": now["actuator"]["duty_cycle"]}
    assert now == expected
    assert now["actuator"]["duty_cycle"] in (0.25, "25 %")


def test_a_practice_logbook_of_before_gets_its_baselines_and_no_second_ones(tmp_path):
    book_path, file = tmp_path / "a.throwbook", tmp_path / "rig.toml"
    file.write_text(RIG, "utf-8")
    add_rig(book_path, file, "M. K.", NOW)
    practice = tmp_path / "a-practice.throwbook"
    with opened(book_path, read_only=True) as book:
        text = book.rig("yard-loader").toml
    with opened(practice) as book, book.transaction():
        book.add_rig("yard-loader", text, "M. K.", NOW, FOR_PRACTICE)
    for _ in range(2):
        assert start_practice(str(book_path), "yard-loader", "M. K.", NOW) == practice
        with opened(practice, read_only=True) as book:
            assert sorted(one.direction for one in book.baselines("yard-loader")) == ["lock", "unlock"]
