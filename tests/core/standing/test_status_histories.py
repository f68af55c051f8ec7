"""Random histories of a rig in several logbooks: nothing leaks out of ``do not use``.

The judge knows the true sequence of steps, which the rules can't see, and says when the way back was really walked.
"""

from collections import Counter

from logger.core.records.records import Order
from logger.core.standing.status import CAUSES, DO_NOT_USE, IN_SERVICE
from tests.core.standing.rig_histories import Copy, History

HISTORIES = 10_000


def way_was_walked(history: History, copy: Copy, raised: Order) -> bool:
    """Whether, by the true sequence, somebody found the cause, then repaired, recommissioned in full and signed."""
    same = {
        key
        for key, one in history.true_orders.items()
        if not one.clears
        and (key == raised.id or (raised.trial and (one.trial, one.cause) == (raised.trial, raised.cause)))
    }
    return any(walked(history, copy, history.true_orders[key], name) for key in copy.orders for name in same)


def walked(history: History, copy: Copy, order: Order, raised: str) -> bool:
    repair, sheet = copy.services.get(order.service or ""), copy.sheets.get(order.sheet or "")
    if order.id in copy.altered or raised not in order.clears or repair is None or sheet is None:
        return False
    true_sequence = (
        history.born[raised] <= history.born[repair.id] <= history.born[sheet.id] <= history.born[order.id]
    )
    written = bool(repair.found.strip() and repair.fixed.strip() and order.details["cause_found"].strip())
    proved = sheet.kind == "commissioning" and sheet.accepted and sheet.signed.strip()
    return bool(true_sequence and written and proved and order.signed.strip())


def leaks(history: History) -> list[str]:
    found = []
    for number, copy in enumerate(history.copies):
        status = copy.status(history.rng)
        if status.level == DO_NOT_USE:
            continue
        for key in copy.orders:
            order = history.true_orders[key]
            level = CAUSES.get(order.cause, (IN_SERVICE, ""))[0]
            holds = level == DO_NOT_USE or key in copy.altered
            if holds and not order.clears and not way_was_walked(history, copy, order):
                found.append(f"copy {number}: {key} ({order.cause})")
        found += [
            f"copy {number}: {name} is missing"
            for order in copy.orders.values()
            for name in order.previous
            if name not in copy.orders and not walked_lost(history, copy, name)
        ]
    return found


def walked_lost(history: History, copy: Copy, raised: str) -> bool:
    return any(walked(history, copy, history.true_orders[key], raised) for key in copy.orders)


def test_no_history_leaks_out_of_do_not_use():
    ends: Counter[str] = Counter()
    came_back = 0
    for seed in range(HISTORIES):
        history = History(seed)
        history.play()
        assert leaks(history) == [], f"seed {seed}"
        for copy in history.copies:
            status = copy.status()
            ends[status.level] += 1
            raised = any(
                CAUSES.get(one.cause, ("", ""))[0] == DO_NOT_USE and not one.clears
                for one in copy.orders.values()
            )
            came_back += raised and status.level != DO_NOT_USE
        merged = Copy()
        for copy in history.copies:
            history.take(merged, copy, 1.0)
        history.copies = [merged]
        assert leaks(history) == [], f"seed {seed}, merged"
    # The histories are worth something only if the latch is seen shut and, after the whole way back, open.
    assert ends[DO_NOT_USE] > HISTORIES
    assert came_back > HISTORIES // 20, (ends, came_back)
