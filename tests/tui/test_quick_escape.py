"""A lone Esc needn't wait for the library's next look at the keys."""

import selectors
import socket
import time

from throwbook_tui.terminal import ShortAfterAKey


def test_the_wait_after_a_key_is_short_and_only_that_one():
    reads, writes = socket.socketpair()  # on Windows only sockets can be waited for
    with ShortAfterAKey() as selector:
        selector.register(reads, selectors.EVENT_READ)
        writes.send(b"\x1b")
        assert selector.select(60.0)
        reads.recv(1)
        begun_s = time.monotonic()
        assert selector.select(60.0) == []
        assert time.monotonic() - begun_s < 30
        begun_s = time.monotonic()
        assert selector.select(0.05) == []
        assert time.monotonic() - begun_s >= 0.045
    reads.close()
    writes.close()
