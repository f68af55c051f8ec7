"""Work on many rigs, spread over the processor's cores: the one way for all of it."""

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

Result = TypeVar("Result")
RIGS_AT_ONCE = 8
"""Rigs handed to a process at a time: few enough that memory stays small."""


def spread(
    work: Callable[[Sequence[str]], Result], names: Sequence[str], workers: int | None = None
) -> Iterator[Result]:
    """What ``work`` gives for each few of the names, in their order; it must be a function that pickle can send.

    ``workers``: processes; None: one for each core, 1: this one alone. Few names aren't worth a second process.
    """
    parts = [names[i : i + RIGS_AT_ONCE] for i in range(0, len(names), RIGS_AT_ONCE)]
    if len(parts) <= 1 or workers == 1:
        return map(work, parts)
    return _on_processes(work, parts, workers)


def _on_processes(
    work: Callable[[Sequence[str]], Result], parts: Sequence[Sequence[str]], workers: int | None
) -> Iterator[Result]:
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    # started afresh: a screen asks from a thread, and what is forked there may wait for a lock for ever
    done = 0
    try:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            for result in pool.map(work, parts):
                done += 1
                yield result
    except BrokenProcessPool:
        # killed, or a script that another process can't begin again: the rest goes on here
        yield from map(work, parts[done:])
