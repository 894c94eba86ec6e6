"""Ports: pseudo-terminals and sockets read without polling, and one clear sentence for each way a port can be wrong."""

import contextlib
import errno
import os
import pty
import select
import socket
import subprocess
import sys
import threading
import time
import tty

import pytest
import serial
from hotfuel.errors import LinkError
from hotfuel.link import port as ports
from hotfuel.link.port import open_port


@pytest.fixture
def terminal():
    """(our end's descriptor, the device path of the other end)."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    path = os.ttyname(theirs)
    yield ours, path
    for fd in (ours, theirs):
        with contextlib.suppress(OSError):  # a test may have closed it
            os.close(fd)


def test_bytes_both_ways_over_a_terminal(terminal):
    ours, path = terminal
    with open_port(path) as port:
        every = bytes(range(256))
        os.write(ours, every)
        assert port.read(1) == every
        port.write(every)
        assert os.read(ours, 300) == every
        assert port.read(0) == b""


def test_reading_waits_without_spinning(terminal):
    """A silent half second costs almost no processor time (a plain read of a port with VMIN 0 would spin)."""
    with open_port(terminal[1]) as port:
        wall, processor = time.monotonic(), time.process_time()
        assert port.read(0.5) == b""
        assert time.monotonic() - wall >= 0.49
        assert time.process_time() - processor < 0.1


def test_a_vanished_port_is_one_sentence(terminal):
    ours, path = terminal
    with open_port(path) as port:
        os.close(ours)
        with pytest.raises(LinkError, match="went away"):
            port.read(1)


def test_a_port_is_opened_only_once(terminal):
    with open_port(terminal[1]), pytest.raises(LinkError, match=f"{terminal[1]} is in use") as caught:
        open_port(terminal[1])
    assert "modem manager" in str(caught.value)
    open_port(terminal[1]).close()


def test_the_holder_of_a_busy_port_is_named(terminal):
    code = f"import os, sys; fd = os.open({terminal[1]!r}, os.O_RDWR | os.O_NOCTTY); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "open\n"
        assert f"(process {process.pid})" in ports.holder_of(terminal[1])
        process.stdin.close()


def test_a_board_that_does_not_read_is_reported_not_waited_for(terminal, monkeypatch):
    monkeypatch.setattr(ports, "_WRITE_TIMEOUT_S", 0.1)
    with open_port(terminal[1]) as port, pytest.raises(LinkError, match="takes no data"):
        port.write(b"x" * 400_000)


def test_no_such_port():
    with pytest.raises(LinkError, match="there is no port /dev/ttyNONE9; ports here: "):
        open_port("/dev/ttyNONE9")


def test_a_file_is_not_a_port(tmp_path):
    (tmp_path / "wire.log").write_bytes(b"x")
    with pytest.raises(LinkError, match="is a file, not a serial port"):
        open_port(str(tmp_path / "wire.log"))


def test_no_permission_names_the_group(monkeypatch, terminal):
    """As root nothing is forbidden, so pyserial's refusal is simulated."""
    import grp

    def refuse(*_, **__):
        raise serial.SerialException(errno.EACCES, "could not open port")

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    group = grp.getgrgid(os.stat(terminal[1]).st_gid).gr_name
    with pytest.raises(LinkError, match=f'belongs to the group "{group}".*usermod -a -G {group}'):
        open_port(terminal[1])


@pytest.mark.parametrize("url", ["socket://", "socket://host", "socket://host:99999999", "nosuch://x"])
def test_wrong_urls(url):
    with pytest.raises(LinkError, match="host:port"):
        open_port(url)


@pytest.fixture
def server():
    listening = socket.create_server(("127.0.0.1", 0))
    yield listening
    listening.close()


def test_a_socket_is_read_in_blocks(server):
    with open_port(f"socket://127.0.0.1:{server.getsockname()[1]}") as port:
        other, _ = server.accept()
        sent = os.urandom(200_000)
        thread = threading.Thread(target=other.sendall, args=(sent,))
        thread.start()
        got, reads = b"", 0
        while len(got) < len(sent):
            data = port.read(5)
            assert data
            got, reads = got + data, reads + 1
        thread.join()
        assert got == sent
        assert reads < 1000
        port.write(b"back")
        assert select.select([other], [], [], 5)[0]
        assert other.recv(10) == b"back"
        other.close()
        with pytest.raises(LinkError, match="went away"):
            port.read(5)


def test_a_socket_without_a_listener(server):
    number = server.getsockname()[1]
    server.close()
    with pytest.raises(LinkError, match="cannot be reached .*refused"):
        open_port(f"socket://127.0.0.1:{number}")


def test_other_pyserial_ports_work_too():
    with open_port("loop://") as port:
        port.write(b"round")
        assert port.read(1) == b"round"
        assert port.read(0.01) == b""


def test_likely_boards_come_first(monkeypatch):
    class Found:
        def __init__(self, device, vid, pid):
            self.device, self.vid, self.pid = device, vid, pid

    listed = [Found("/dev/ttyS0", None, None), Found("/dev/ttyUSB0", 0x0403, 0x6001), Found("/dev/ttyACM0", 0x2E8A, 0x0005)]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: listed)
    assert [found.device for found in ports.usb_ports()] == ["/dev/ttyACM0", "/dev/ttyUSB0"]
    assert [ports.is_likely_board(found) for found in ports.usb_ports()] == [True, False]


def test_a_device_that_is_not_a_serial_port_is_recognised_by_the_systems_error_number():
    with pytest.raises(LinkError, match="/dev/null is no serial port"):
        open_port("/dev/null")
