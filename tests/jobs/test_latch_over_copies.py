"""The latch in real files: copies, merges, restored backups, wrong clocks. Nothing leaks out of ``do not use``.

``tests/core/status/test_status_histories.py`` plays the rules themselves; here the files are what is tried.
"""

from datetime import timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, TOML
from throwbook.core.records import Order
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, raise_order
from throwbook.jobs.latch import status
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import backup, check
from throwbook.logbook.merge import merge

COPIES = 3
STEPS = ("raise", "false clear", "merge", "back up", "restore", "unknown clear", "add rig")
histories = st.lists(
    st.tuples(
        st.sampled_from(STEPS),
        st.integers(0, COPIES - 1),
        st.integers(0, COPIES - 1),
        st.integers(-(10**6), 10**6),
    ),
    max_size=14,
)


def level(path):
    with open_logbook(path, read_only=True) as book:
        return status(book, RIG).level


def write(path, order):
    with open_logbook(path) as book:
        return book.add_order(order).id


@settings(max_examples=drawn(20, 4), deadline=None, suppress_health_check=list(HealthCheck))
@given(histories)
def test_no_copy_merge_or_restore_leads_out_of_do_not_use(tmp_path_factory, history):
    folder = tmp_path_factory.mktemp("latch")
    paths = [folder / f"copy {n}" for n in range(COPIES)]
    with open_logbook(paths[0]) as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
    for path in paths[1:]:
        path.write_bytes(paths[0].read_bytes())
    raised = [set() for _ in paths]  # what each file must know of
    backups = {}
    for number, (step, here, there, minutes) in enumerate(history):
        now = NOW + timedelta(minutes=minutes)  # by whatever clock
        if step == "raise":
            raised[here].add(write(paths[here], raise_order(RIG, "stall", "stood still", now, "M. K.")))
        elif step in ("false clear", "unknown clear") and (raised[here] or step == "unknown clear"):
            clears = tuple(raised[here]) if step == "false clear" else ("0" * 32,)
            order = Order(RIG, IN_SERVICE, "cleared", "trust me", now, "N. N.", clears=clears, signed="N. N.")
            write(paths[here], order)
            if step == "unknown clear":
                raised[here].add("an order that nobody has")
        elif step == "merge" and here != there:
            with open_logbook(paths[here]) as book:
                merge(book, paths[there])
            raised[here] |= raised[there]
        elif step == "back up":
            target = folder / f"backup {number}"
            with open_logbook(paths[here], read_only=True) as book:
                backup(book, target)
            backups[here] = (target, set(raised[here]))
        elif step == "restore" and here in backups:
            paths[here].write_bytes(backups[here][0].read_bytes())
            raised[here] = set(backups[here][1])
        elif step == "add rig":
            with open_logbook(paths[here]) as book:
                book.add_rig(RIG, f"{TOML}# {number}\n", "M. K.", now, "why not")
        for path, known in zip(paths, raised, strict=True):
            assert level(path) == (DO_NOT_USE if known else IN_SERVICE)
    with open_logbook(paths[0]) as book:
        for path in paths[1:]:
            merge(book, path)
    assert level(paths[0]) == (DO_NOT_USE if set().union(*raised) else IN_SERVICE)


def test_an_order_changed_or_taken_out_in_the_file_holds_the_rig_and_check_names_it(tmp_path):
    with open_logbook(tmp_path / "logbook") as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
        book.add_order(raise_order(RIG, "stall", "stood still", NOW, "M. K."))
        book.add_order(raise_order(RIG, "watch sign", "heavier", NOW, "M. K."))
        book.db.execute("DROP TRIGGER latch_order_no_update")
        book.db.execute("DROP TRIGGER latch_order_no_delete")
        book.db.execute(
            "UPDATE latch_order SET level = 'in service', cause = 'watch sign' WHERE cause = 'stall'"
        )
        assert status(book, RIG).level == DO_NOT_USE
        assert any("latch_order" in problem.what for problem in check(book).problems)
        book.db.execute("DELETE FROM latch_order WHERE because = 'stood still'")
        assert status(book, RIG).level == DO_NOT_USE
        assert any("an order that came before is gone" in problem.what for problem in check(book).problems)
