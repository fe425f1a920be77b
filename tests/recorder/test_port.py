"""Ports: what pyserial does at the edges, and what becomes of it. Over real pseudo-terminals and sockets."""

import errno
import os
import socket
import struct
import sys
import threading
import time
from contextlib import contextmanager

import pytest
import serial
import serial.tools.list_ports
from serial.tools.list_ports_common import ListPortInfo

from satdiag.errors import SatdiagError
from satdiag.recorder import port as port_module
from satdiag.recorder.heard import WAIT_S, SourceTrouble
from satdiag.recorder.port import PortReader, PortSettings, check_where, list_ports, port_info
from satdiag.recorder.port_trouble import TROUBLES, open_trouble
from tests.recorder.devices import PtyDevice, Rfc2217Device, TcpDevice, quickest, until

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
SETTINGS = PortSettings()
SLACK_S = 0.15
"""What the quickest of several waits may take longer than it says."""

MOST_READS = 5
"""A loss is noticed within so many reads; a busy computer makes each of them longer, not more of them."""


@pytest.fixture
def pty_device(tmp_path):
    with PtyDevice(tmp_path) as device:
        yield device


@pytest.fixture
def tcp_device():
    with TcpDevice() as device:
        yield device


@contextmanager
def reading(where, settings=SETTINGS):
    reader = PortReader(where, settings)
    reader.open()
    try:
        yield reader
    finally:
        reader.close()


def read_all(reader, count):
    """Read until so many bytes came."""
    data = b""
    end = time.monotonic() + 60
    while len(data) < count and time.monotonic() < end:
        data += reader.read()
    return data


def trouble_of(call):
    """The trouble that a call ends in, and how long that took."""
    begin = time.monotonic()
    with pytest.raises(SourceTrouble) as caught:
        call()
    return caught.value, time.monotonic() - begin


def lost(reader, is_gone=lambda: True):
    """Read until the port is lost; nothing may come before. Reads count from when it `is_gone`."""
    reads = 0
    while reads < MOST_READS:
        reads += bool(is_gone())
        try:
            assert reader.read() == b""
        except SourceTrouble as trouble:
            return trouble
    raise AssertionError("the loss was not noticed")


def once_it_waits(reader, do):
    """A timer alone would fire before the read began on a busy computer."""
    until(reader._reading.locked)
    time.sleep(0.01)
    do()


# --- bytes ------------------------------------------------------------------------------------------------------


@posix
def test_every_byte_value_comes_through_a_pty(pty_device):
    data = bytes(range(256)) * 40
    with reading(pty_device.where) as reader:
        sender = threading.Thread(target=pty_device.say, args=(data,))
        sender.start()
        assert read_all(reader, len(data)) == data
        sender.join()


def test_every_byte_value_comes_through_a_socket(tcp_device):
    data = bytes(range(256)) * 400
    with reading(tcp_device.where) as reader:
        sender = threading.Thread(target=tcp_device.say, args=(data,))
        sender.start()
        assert read_all(reader, len(data)) == data
        sender.join()


def test_a_socket_is_read_in_chunks_not_byte_by_byte(tcp_device):
    with reading(tcp_device.where) as reader:
        tcp_device.say(b"x" * 5000)
        assert until(lambda: len(reader._port._socket.recv(5000, socket.MSG_PEEK)) == 5000)
        assert len(reader.read()) == 5000


@posix
def test_read_waits_a_little_and_says_nothing_came(pty_device):
    with reading(pty_device.where) as reader:
        said = []
        spent_s = quickest(lambda: said.append(reader.read()), WAIT_S + SLACK_S)
        assert set(said) == {b""}
        assert WAIT_S * 0.9 < spent_s < WAIT_S + SLACK_S


@posix
def test_read_returns_as_soon_as_something_came(pty_device):
    def say_and_read():
        pty_device.say(b"soon")
        assert read_all(reader, 4) == b"soon"

    with reading(pty_device.where) as reader:
        assert quickest(say_and_read, SLACK_S) < SLACK_S < WAIT_S


@posix
def test_rest_is_what_has_come_and_does_not_wait(pty_device):
    with reading(pty_device.where) as reader:
        assert quickest(reader.rest, 0.05) < 0.05
        pty_device.say(b"last words")
        assert until(lambda: reader.rest() == b"last words")
    assert reader.rest() == b""


@posix
def test_opening_and_reading_write_nothing(pty_device):
    with reading(pty_device.where) as reader:
        pty_device.say(b"hello\n")
        assert read_all(reader, 6) == b"hello\n"
        assert pty_device.written() == b""
        reader.write(b"READ?\n")
        assert until(lambda: pty_device.written() == b"READ?\n")


def test_dtr_and_rts_stay_low():
    with reading("loop://") as reader:  # an echo port shows DTR as DSR and RTS as CTS (pyserial, protocol_loop)
        assert reader._port.dsr is False
        assert reader._port.cts is False
    assert serial.serial_for_url("loop://", do_not_open=True).dtr is True  # what it does unless it is told


@posix
def test_settings_reach_the_driver(pty_device):
    import termios

    wanted = PortSettings(baud=9600, data_bits=7, parity="even", stop_bits=2, handshake="xonxoff")
    with reading(pty_device.where, wanted) as reader:
        iflag, _, cflag, _, _, speed, _ = termios.tcgetattr(reader._port.fd)
        assert speed == termios.B9600
        assert iflag & termios.IXON
        # a pseudo-terminal takes 8 data bits without parity only; what was asked for stands in pyserial
        assert (reader._port.bytesize, reader._port.parity, reader._port.stopbits) == (7, "E", 2)
        assert cflag & termios.CSTOPB
    with reading(pty_device.where, PortSettings(baud=9600, handshake="rtscts")) as reader:
        assert termios.tcgetattr(reader._port.fd)[2] & termios.CRTSCTS


# --- trouble ----------------------------------------------------------------------------------------------------


@posix
def test_unplugged_while_idle(pty_device):
    with reading(pty_device.where) as reader:
        assert reader.read() == b""
        pty_device.unplug()
        trouble = lost(reader)
    assert trouble.reason == "gone"
    assert "Plug it in again" in str(trouble)


@posix
def test_unplugged_while_a_read_waits(pty_device):
    with reading(pty_device.where) as reader:
        puller = threading.Thread(target=once_it_waits, args=(reader, pty_device.unplug))
        puller.start()
        trouble = lost(reader, lambda: not puller.is_alive())
        puller.join()
    assert trouble.reason == "gone"


@posix
def test_unplugged_while_busy(pty_device):
    with reading(pty_device.where) as reader:
        pty_device.say(b"one\n")
        assert read_all(reader, 4) == b"one\n"
        pty_device.unplug()  # while we handle what came: pyserial's in_waiting then raises a plain OSError
        with pytest.raises(OSError, match="Input/output"):
            _ = reader._port.in_waiting
        assert reader._port.is_open is True  # which is why nobody asks it
        assert lost(reader).reason == "gone"
        assert trouble_of(lambda: reader.write(b"x"))[0].reason == "gone"
        with pytest.raises(TROUBLES) as caught:
            reader._port.reset_input_buffer()
        assert not isinstance(caught.value, OSError)  # termios.error is none, and is caught all the same


@posix
def test_opened_again_after_a_replug(pty_device):
    reader = PortReader(pty_device.where, SETTINGS)
    for text in (b"before", b"after"):
        reader.open()
        pty_device.say(text)
        assert read_all(reader, len(text)) == text
        pty_device.unplug()
        lost(reader)
        reader.close()
        trouble, _ = trouble_of(reader.open)
        assert trouble.reason == "missing"
        assert "Plug it in" in str(trouble)
        pty_device.replug()
    reader.close()


@posix
def test_opened_again_without_closing_first(pty_device):
    with reading(pty_device.where) as reader:
        reader.open()
        pty_device.say(b"x")
        assert read_all(reader, 1) == b"x"


@posix
def test_a_second_exclusive_open_is_refused_and_the_first_goes_on(pty_device):
    with reading(pty_device.where) as reader:
        trouble, _ = trouble_of(PortReader(pty_device.where, SETTINGS).open)
        assert trouble.reason == "busy"
        assert "another program has it open" in str(trouble)
        pty_device.say(b"unharmed")
        assert read_all(reader, 8) == b"unharmed"


@posix
def test_no_permission_is_told_with_what_to_do(pty_device):
    path = os.path.realpath(pty_device.where)
    os.chmod(path, 0)
    user = os.geteuid()
    if user == 0:
        os.chmod(os.path.dirname(pty_device.where), 0o755)
        os.seteuid(65534)  # root may open anything
    try:
        trouble, _ = trouble_of(PortReader(path, SETTINGS).open)
    finally:
        os.seteuid(user)
    assert trouble.reason == "denied"
    assert "dialout" in str(trouble)


@posix
@pytest.mark.parametrize("kind", ["folder", "file", "null"])
def test_what_is_no_serial_port_is_called_that(tmp_path, kind):
    (tmp_path / "file").write_bytes(b"not a port")
    where = {"folder": tmp_path, "file": tmp_path / "file", "null": os.devnull}[kind]
    trouble, _ = trouble_of(PortReader(str(where), SETTINGS).open)
    assert trouble.reason == "missing"
    assert "this is not a serial port" in str(trouble)
    assert (tmp_path / "file").read_bytes() == b"not a port"


def test_a_port_that_is_not_there():
    name = "COM213" if sys.platform == "win32" else "/dev/ttyUSB213"
    trouble, _ = trouble_of(PortReader(name, SETTINGS).open)
    assert trouble.reason == "missing"
    assert "satdiag ports" in str(trouble)


def test_a_socket_without_a_peer_is_missing(tcp_device):
    where = tcp_device.where
    tcp_device.unplug()
    seen = []
    assert quickest(lambda: seen.append(trouble_of(PortReader(where, SETTINGS).open)[0]), 1.0) < 1
    assert {trouble.reason for trouble in seen} == {"missing"}
    assert "Is the other side running" in str(seen[0])


def test_a_socket_whose_peer_closes_hands_over_everything_and_is_gone(tcp_device):
    with reading(tcp_device.where) as reader:
        tcp_device.say(b"one\nhal")
        tcp_device.hang_up()
        assert read_all(reader, 7) == b"one\nhal"
        assert lost(reader).reason == "gone"
        reader.open()
        tcp_device.say(b"again")
        assert read_all(reader, 5) == b"again"


def test_the_last_single_byte_of_a_socket_is_not_lost_with_the_connection(tcp_device):
    with reading(tcp_device.where) as reader:
        tcp_device.say(b"x")
        tcp_device.hang_up()
        time.sleep(0.05)
        assert reader.read() == b"x"
        assert lost(reader).reason == "gone"


def test_a_socket_whose_peer_went_first_is_closed_without_a_leak(tcp_device):
    with reading(tcp_device.where) as reader:
        tcp_device.say(b"x")
        assert read_all(reader, 1) == b"x"
        at_once = struct.pack(
            "hh" if sys.platform == "win32" else "ii", 1, 0
        )  # l_onoff, l_linger: the connection ends with a reset
        tcp_device._peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, at_once)
        tcp_device.hang_up()
        assert lost(reader).reason == "gone"
        kept = reader._port._socket
        reader.close()
        assert kept.fileno() == -1


# --- closing ----------------------------------------------------------------------------------------------------


@posix
def test_closing_twice_and_reading_after_it(pty_device):
    reader = PortReader(pty_device.where, SETTINGS)
    reader.close()
    reader.open()
    reader.close()
    reader.close()
    for call in (reader.read, lambda: reader.write(b"x")):
        assert trouble_of(call)[0].reason == "gone"


@posix
def test_closed_from_another_thread_while_a_read_waits(pty_device):
    spent_s = []
    for _ in range(20):
        reader = PortReader(pty_device.where, SETTINGS)
        reader.open()
        closer = threading.Thread(target=once_it_waits, args=(reader, reader.close))
        closer.start()
        begin = time.monotonic()
        assert reader.read() == b""  # pyserial alone raises a TypeError here
        spent_s.append(time.monotonic() - begin)
        closer.join()
        assert trouble_of(reader.read)[0].reason == "gone"
    assert min(spent_s) < WAIT_S, "it waited to the end of the read"


def test_a_socket_closed_from_another_thread(tcp_device):
    with reading(tcp_device.where) as reader:
        closer = threading.Thread(target=once_it_waits, args=(reader, reader.close))
        closer.start()
        assert reader.read() == b""
        closer.join()


# --- RFC 2217 ---------------------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\) is deprecated:DeprecationWarning")
def test_an_rfc_2217_converter_is_set_and_read_to_its_last_byte():
    with Rfc2217Device() as device, reading(device.where, PortSettings(baud=4800)) as reader:
        assert device.port.baudrate == 4800
        assert device.port.dtr is False
        assert device.port.rts is False
        data = bytes(range(256)) * 20
        device.say(data)
        device.hang_up()
        assert until(lambda: not reader._port._thread.is_alive())  # pyserial now keeps back what it had taken
        assert read_all(reader, len(data)) == data
        assert lost(reader).reason == "gone"


# --- names ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "where",
    [
        "COM3",
        r"\\.\COM12",
        "/dev/ttyUSB0",
        "/dev/serial/by-id/usb-demo",
        "loop://",
        "socket://127.0.0.1:7000",
        "socket://[::1]:7000/?logging=debug",
        "rfc2217://demo.example:7000?ign_set_control&timeout=5",
        "hwgrep://0403:6001",
        "hwgrep://demo?&n=2",
    ],
)
def test_names_that_are_taken(where):
    check_where(where)


@pytest.mark.parametrize(
    ("where", "found"),
    [
        ("", "names no port"),
        ("  ", "names no port"),
        ("COM3\x1b[2J", r"'COM3\x1b[2J' names no port"),
        ("spy:///dev/ttyUSB0?file=x", "'spy' is not a kind of port. Name a port, or"),
        ("alt:///dev/ttyUSB0", "'alt' is not"),
        ("http://127.0.0.1:80", "'http' is not"),
        ("socket://", "the host or the port number is missing"),
        ("socket://127.0.0.1", "the host or the port number is missing"),
        ("socket://:7000", "the host or the port number is missing"),
        ("socket://127.0.0.1:70000", "this is not an address"),
        ("socket://127.0.0.1:x", "this is not an address"),
        ("socket://[::1:7000", "this is not an address"),
        ("socket://127.0.0.1:7000?speed=9", "it has no setting 'speed'"),
        ("rfc2217://127.0.0.1:7000?loging=debug", "it has no setting 'loging'"),
        ("hwgrep://", "the pattern is empty"),
        ("hwgrep://(", "the pattern cannot be read"),
        ("hwgrep://demo&skip_busy", "'skip_busy' is not taken"),
        ("hwgrep://demo&n=1", "'n=1' is not taken"),
    ],
)
def test_names_that_are_not_taken_are_refused_before_anything_is_opened(where, found):
    with pytest.raises(SatdiagError) as caught:
        PortReader(where, SETTINGS)
    assert found in str(caught.value)
    assert not isinstance(caught.value, SourceTrouble)


def test_a_description_that_no_port_has():
    trouble, _ = trouble_of(PortReader("hwgrep://no such thing at all", SETTINGS).open)
    assert trouble.reason == "missing"
    assert "there is no such port now" in str(trouble)


# The texts are made as serialwin32.py of pyserial 3.5 makes them: repr() of ctypes.WinError(number).
@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("FileNotFoundError(2, 'The system cannot find the file specified.', None, 2)", "missing"),
        ("PermissionError(13, 'Access is denied.', None, 5)", "busy"),
        ("OSError(22, 'A device attached to the system is not functioning.', None, 31)", "missing"),
        ("OSError(22, 'The semaphore timeout period has expired.', None, 121)", "missing"),
    ],
)
def test_what_windows_says_is_sorted(text, reason):
    trouble = open_trouble("COM3", serial.SerialException(f"could not open port 'COM3': {text}"))
    assert trouble.reason == reason
    assert str(trouble).startswith("COM3: ")


@pytest.mark.parametrize(
    ("number", "reason"),
    [(errno.EBUSY, "busy"), (errno.EPERM, "denied"), (errno.ENXIO, "missing"), (errno.ENODEV, "missing")],
)
def test_what_the_system_says_is_sorted(number, reason):
    assert open_trouble("x", serial.SerialException(number, "could not open port")).reason == reason


# --- lists ------------------------------------------------------------------------------------------------------


def test_ports_are_listed_as_pyserial_sees_them():
    from serial.tools.list_ports import comports

    assert [one.device for one in list_ports()] == [info.device for info in sorted(comports())]


def test_nothing_is_opened_while_ports_are_listed(tmp_path, monkeypatch):
    entered, leave = threading.Event(), threading.Event()

    def slow():
        entered.set()
        leave.wait(60)
        return []

    monkeypatch.setattr(port_module, "comports", slow)
    lister = threading.Thread(target=list_ports)
    lister.start()
    assert entered.wait(60)
    opened = []

    def try_to_open():
        opened.append(trouble_of(PortReader(str(tmp_path / "none"), SETTINGS).open))

    opener = threading.Thread(target=try_to_open)
    opener.start()
    time.sleep(0.05)
    assert not opened
    leave.set()
    opener.join(60)
    lister.join(60)
    assert opened[0][0].reason == "missing"


def test_a_device_pulled_out_while_it_is_looked_at(monkeypatch):
    monkeypatch.setattr(port_module, "comports", lambda: [int(None, 16)])  # as pyserial's list_ports_linux.py does
    with pytest.raises(SatdiagError, match="try again"):
        list_ports()


@posix
def test_a_port_is_found_by_its_description_wherever_it_is_plugged_in(tmp_path, monkeypatch):
    found = []
    monkeypatch.setattr(serial.tools.list_ports, "comports", lambda include_links: found)
    reader = PortReader("hwgrep://SER=DEMO1", SETTINGS)
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        with PtyDevice(tmp_path / name) as device:
            info = ListPortInfo(device.where)
            info.vid, info.pid, info.serial_number = 0x1209, 0x1, "DEMO1"
            info.apply_usb_info()
            found[:] = [ListPortInfo("/dev/ttyS213"), info]
            reader.open()
            device.say(b"here")
            assert read_all(reader, 4) == b"here"
            reader.close()
    found.clear()
    assert trouble_of(reader.open)[0].reason == "missing"


def test_a_port_is_described_in_the_system_s_words():
    info = ListPortInfo("/dev/ttyUSB0")
    assert port_info(info) == port_module.PortInfo("/dev/ttyUSB0", None, None, None, None, None)
    info.vid, info.pid, info.serial_number = 0x1209, 0x1, "DEMO1"
    info.manufacturer, info.product = "Demo works", "Demo adapter"
    info.apply_usb_info()
    assert port_info(info) == port_module.PortInfo(
        "/dev/ttyUSB0", "Demo adapter", "Demo works", "Demo adapter", "1209:0001", "DEMO1"
    )
