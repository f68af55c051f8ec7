"""Ports and the recorder, over real pseudo-terminals and sockets."""

import socket
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from serial import SerialException

from throwbook.errors import OutsideError
from throwbook.files.journal import Journal, read_journal
from throwbook.ports.acquisition import Broken, Chunk, Recorder, Slept
from throwbook.ports.serial_port import LoopbackPort, Port, PseudoPort, list_ports, trouble

LIMIT_S = 20.0


HAS_PSEUDO_TERMINALS = sys.platform != "win32"


@pytest.fixture(params=[PseudoPort, LoopbackPort] if HAS_PSEUDO_TERMINALS else [LoopbackPort])
def cable(request) -> Iterator[PseudoPort | LoopbackPort]:
    port = request.param()
    yield port
    port.close()


def read_until(port: Port, size: int) -> bytes:
    data = b""
    for _ in range(int(LIMIT_S / 0.02)):
        data += port.read()
        if len(data) >= size:
            break
    return data


def test_bytes_go_both_ways_through_a_device(cable: PseudoPort | LoopbackPort):
    port = Port(cable.name, 115_200)
    port.write(b"who\n")
    assert cable.read(LIMIT_S) == b"who\n"
    every_byte = bytes(range(256))
    cable.write(every_byte)
    assert read_until(port, 256) == every_byte
    assert port.read() == b""
    port.close()


def test_bytes_go_both_ways_through_a_socket():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = Port(f"socket://127.0.0.1:{server.getsockname()[1]}", 115_200)
        far, _ = server.accept()
        with far:
            port.write(b"who\n")
            assert far.recv(10) == b"who\n"
            far.sendall(b"x" * 50_000)
            assert len(read_until(port, 50_000)) == 50_000
            far.close()
            with pytest.raises(OutsideError, match="gone"):
                read_until(port, 1)
        port.close()


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("/dev/ttyNOSUCH", "there is no such port"),
        ("/dev/null", "not a serial port"),
        ("socket://127.0.0.1:1", "nothing answers"),
        ("nonsense://x", "doesn't open"),
    ],
)
def test_a_port_that_does_not_open_says_why_and_what_to_do(name: str, says: str):
    with pytest.raises(OutsideError, match=says) as caught:
        Port(name, 115_200)
    assert caught.value.do or caught.value.remedy


@pytest.mark.skipif(not HAS_PSEUDO_TERMINALS, reason="this system has no pseudo-terminals")
def test_a_port_another_program_has_is_told():
    cable = PseudoPort()
    first = Port(cable.name, 115_200)
    with pytest.raises(OutsideError, match="another program has this port"):
        Port(cable.name, 115_200)
    first.close()
    Port(cable.name, 115_200).close()
    cable.close()


def test_only_one_program_at_a_time_has_a_simulated_board_on_the_network():
    cable = LoopbackPort()
    first = Port(cable.name, 115_200)
    cable.read(0.0)
    second = Port(cable.name, 115_200)
    cable.read(0.0)
    with pytest.raises(OutsideError, match="the port is gone"):
        read_until(second, 1)
    cable.write(b"still yours\n")
    assert read_until(first, 12) == b"still yours\n"
    first.close()
    assert cable.read(LIMIT_S) == b""
    third = Port(cable.name, 115_200)
    cable.write(b"now yours\n")
    assert read_until(third, 10) == b"now yours\n"
    for port in (second, third, cable):
        port.close()


def test_a_number_that_another_program_holds_is_told():
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
        with pytest.raises(OutsideError, match=f"port {number} cannot be opened.*another number"):
            LoopbackPort(number)


def test_a_port_without_permission_says_which_group():
    error = trouble("/dev/ttyUSB0", PermissionError(13, "Permission denied"))
    assert "group" in str(error)


# as pyserial words what Windows says; the numbers are from Windows' documentation, "System Error Codes"
@pytest.mark.parametrize(
    ("said", "means"),
    [
        ("PermissionError(13, 'Access is denied.', None, 5)", "another program has this port"),
        ("FileNotFoundError(2, 'The system cannot find the file specified.', None, 2)", "no such port"),
        ("OSError(22, 'A device attached to the system is not functioning.', None, 31)", "driver"),
        ("OSError(22, 'The semaphore timeout period has expired.', None, 121)", "Bluetooth"),
        ("[WinError 10061] No connection could be made", "nothing answers"),
        ("OSError(9, 'The handle is invalid.', None, 6)", "not a serial port"),
    ],
)
def test_what_windows_says_of_a_port_is_told_in_plain_words(said: str, means: str):
    assert means in str(trouble("COM10", SerialException(f"could not open port 'COM10': {said}")))


def test_listing_ports_asks_nothing_of_them():
    assert all(port.device for port in list_ports())


def test_a_pulled_cable_is_told(cable: PseudoPort | LoopbackPort):
    port = Port(cable.name, 115_200)
    cable.close()
    with pytest.raises(OutsideError, match="the port is gone"):
        read_until(port, 1)
    port.close()


class OrderedJournal:
    """Notes what was synced, so that a test can ask in which order things happened."""

    def __init__(self) -> None:
        self.synced = b""
        self.pending = b""

    def append(self, data: bytes, monotonic_s: float) -> None:
        self.pending += data

    def sync(self) -> None:
        self.synced += self.pending
        self.pending = b""


def test_nothing_is_handed_on_before_it_is_on_disk(cable: PseudoPort | LoopbackPort):
    journal = OrderedJournal()
    recorder = Recorder(Port(cable.name, 115_200), journal)
    recorder.start()
    sent = got = b""
    for number in range(20):
        sent += b"line %d\n" % number
        cable.write(b"line %d\n" % number)
        while len(got) < len(sent):
            item = recorder.next(LIMIT_S)
            assert isinstance(item, Chunk)
            got += item.data
            assert journal.synced.startswith(got)
    assert got == sent
    recorder.stop()


def test_a_pulled_cable_hands_on_what_came_and_then_says_so(cable: PseudoPort | LoopbackPort, tmp_path: Path):
    journal = Journal(tmp_path / "a.journal", {}, 0.0)
    recorder = Recorder(Port(cable.name, 115_200), journal)
    recorder.start()
    cable.write(b"kept\n")
    assert recorder.next(LIMIT_S).data == b"kept\n"
    cable.close()
    broken = recorder.next(LIMIT_S)
    assert isinstance(broken, Broken)
    assert broken.part == "port"
    recorder.stop()
    journal.close()
    assert read_journal(tmp_path / "a.journal").received == b"kept\n"


class FailingJournal(OrderedJournal):
    def sync(self) -> None:
        raise OutsideError("the disk is full", "here", "make room")


def test_a_failing_disk_is_told_and_the_bytes_still_reach_the_caller(cable: PseudoPort | LoopbackPort):
    recorder = Recorder(Port(cable.name, 115_200), FailingJournal())
    recorder.start()
    cable.write(b"kept in memory\n")
    broken, chunk = recorder.next(LIMIT_S), recorder.next(LIMIT_S)
    assert isinstance(broken, Broken)
    assert broken.part == "journal"
    assert chunk.data == b"kept in memory\n"
    recorder.stop()


def test_a_computer_that_slept_is_told_for_how_long(cable: PseudoPort | LoopbackPort):
    asleep = threading.Event()
    recorder = Recorder(
        Port(cable.name, 115_200),
        OrderedJournal(),
        monotonic=lambda: 100.0,
        wall=lambda: 5000.0 + 600.0 * asleep.is_set(),
    )
    recorder.start()
    cable.write(b"before\n")
    assert isinstance(recorder.next(LIMIT_S), Chunk)
    asleep.set()
    assert recorder.next(LIMIT_S) == Slept(600.0)
    recorder.stop()
