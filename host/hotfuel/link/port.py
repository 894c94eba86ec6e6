"""Ports: the only module that uses pyserial. Opens any pyserial URL exclusively and reads without polling.

On POSIX a port is a file descriptor: we wait with select and take everything available with one os.read (pyserial leaves VMIN at 0, so a plain blocking
read would spin). socket:// is opened here, because pyserial reads such a socket byte by byte. All other ports go through pyserial.
"""

import contextlib
import errno
import os
import select
import socket
import stat
from pathlib import Path
from urllib.parse import urlsplit

import serial
from serial.tools import list_ports

from hotfuel.errors import LinkError

BLOCK = 1 << 16
_BAUD = 115200  # a USB serial port ignores it; a real UART adapter needs one
_WRITE_TIMEOUT_S = 1.0


class Port:
    """An open port. `read` and `write` raise LinkError if it has gone away."""

    def __init__(self, url: str) -> None:
        self.url = url

    def __enter__(self) -> "Port":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def fileno(self) -> int | None:
        """A descriptor to wait on; None if the system has none for this port."""
        return None

    def read(self, timeout_s: float) -> bytes:
        """All bytes available, waiting at most `timeout_s` for the first; b"" if none came."""
        raise NotImplementedError

    def write(self, data: bytes) -> None:
        """Send everything. Raises LinkError if the port has gone away or does not take it within a second."""
        raise NotImplementedError

    def close(self) -> None:
        """Close the port; may be called again."""
        raise NotImplementedError

    def _gone(self, why: object) -> LinkError:
        return LinkError(f"{self.url} went away ({why}); plug the board in again")


class _Descriptor(Port):
    """A port that is a descriptor: a serial device, a pseudo-terminal, a socket."""

    def __init__(self, url: str, device: "serial.Serial | socket.socket") -> None:
        super().__init__(url)
        self._device = device
        self._fd = device.fileno()

    def fileno(self) -> int | None:
        return self._fd

    def read(self, timeout_s: float) -> bytes:
        try:
            if not select.select([self._fd], [], [], timeout_s)[0]:
                return b""
            data = os.read(self._fd, BLOCK)
        except (OSError, ValueError) as error:
            raise self._gone(getattr(error, "strerror", None) or error) from None
        if not data:
            raise self._gone("it is readable but gives nothing: unplugged, or the other side closed it")
        return data

    def write(self, data: bytes) -> None:
        try:
            while data:
                if not select.select([], [self._fd], [], _WRITE_TIMEOUT_S)[1]:
                    raise LinkError(f"{self.url} takes no data; the board does not read")
                data = data[os.write(self._fd, data) :]
        except (OSError, ValueError) as error:
            raise self._gone(getattr(error, "strerror", None) or error) from None

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._device.close()


class _Serial(Port):
    """Any other pyserial port: Windows devices, rfc2217://, loop://."""

    def __init__(self, url: str, device: serial.SerialBase) -> None:
        super().__init__(url)
        self._device = device

    def read(self, timeout_s: float) -> bytes:
        try:
            self._device.timeout = timeout_s
            return self._device.read(1) + self._device.read(self._device.in_waiting)
        except (serial.SerialException, OSError) as error:
            raise self._gone(error) from None

    def write(self, data: bytes) -> None:
        try:
            self._device.write(data)
        except (serial.SerialException, OSError) as error:
            raise self._gone(error) from None

    def close(self) -> None:
        with contextlib.suppress(serial.SerialException, OSError):
            self._device.close()


def open_port(url: str, baud: int = _BAUD) -> Port:
    """Open a port exclusively: a device ("/dev/ttyACM0", "COM3") or any pyserial URL ("socket://host:port"). baud matters only to a real UART.

    Raises LinkError with one sentence: no such port (and which exist), busy (and which program has it, if the system tells), no permission (and which
    group has it), not a serial port.
    """
    if url.startswith("socket://"):
        return _open_socket(url)
    try:
        device = serial.serial_for_url(
            url, baudrate=baud, timeout=0, write_timeout=_WRITE_TIMEOUT_S, **({} if "://" in url else {"exclusive": True})
        )
    except (serial.SerialException, OSError) as error:
        raise LinkError(_why_not(url, error)) from None
    except (ValueError, ImportError) as error:
        raise LinkError(f'"{url}" is not a port ({error}); give a device name or a URL such as socket://host:port') from None
    try:
        device.fileno()
    except Exception:  # pyserial raises io.UnsupportedOperation, AttributeError or its own error, depending on the port
        return _Serial(url, device)
    return _Descriptor(url, device) if os.name == "posix" and "://" not in url else _Serial(url, device)


def _open_socket(url: str) -> Port:
    parts = urlsplit(url)
    try:
        host, number = parts.hostname, parts.port
    except ValueError:
        host, number = None, None
    if not host or not number:
        raise LinkError(f'"{url}" names no host and port; write socket://host:port')
    try:
        connection = socket.create_connection((host, number), timeout=5)
    except OSError as error:
        raise LinkError(f"{url} cannot be reached ({error.strerror or error}); is the other side listening?") from None
    connection.setblocking(False)
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return _Descriptor(url, connection)


def _why_not(url: str, error: Exception) -> str:
    number, text = _number(error), str(error)
    # on Windows pyserial gives no error number, only the name of the error's class in its text
    if number == errno.ENOENT or "FileNotFoundError" in text:
        here = [found.device for found in usb_ports()] or ["none with a USB board"]
        return f"there is no port {url}; ports here: {', '.join(here)}"
    if number == errno.EACCES and os.name == "posix":
        return _no_permission(url)
    if number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in text:
        holder = holder_of(url)
        by = f" by {holder}" if holder else ""
        return (
            f"{url} is in use{by}; close the other program (another recording, a terminal program; "
            "a modem manager tries new ports for some seconds: wait and try again)"
        )
    if os.path.exists(url) and not stat.S_ISCHR(os.stat(url).st_mode):
        return f"{url} is a file, not a serial port; give a device, or open a recording with `hotfuel follow`"
    if number == errno.ENOTTY:
        return f"{url} is no serial port; give the board's, as /dev/ttyACM0"
    return f"{url} cannot be opened ({getattr(error, 'strerror', None) or text})"


def _number(error: BaseException | None) -> int | None:
    """The errno of an error, or of the error that caused it: pyserial may not copy it (termios has it as first argument)."""
    while error is not None:
        number = getattr(error, "errno", None) or next(iter(error.args), None)
        if isinstance(number, int):
            return number
        error = error.__context__
    return None


def _no_permission(url: str) -> str:
    import grp

    owner = os.stat(url).st_gid
    try:
        group = grp.getgrgid(owner).gr_name
    except KeyError:
        group = str(owner)
    return (
        f'no permission to open {url}: it belongs to the group "{group}" and you are not in it; '
        f"run `sudo usermod -a -G {group} $USER`, then log out and in again"
    )


def holder_of(device: str) -> str | None:
    """Name and number of a process that has `device` open, if the system tells (Linux, own processes)."""
    wanted = os.path.realpath(device)
    for link in Path("/proc").glob("[0-9]*/fd/*"):
        with contextlib.suppress(OSError):
            process = link.parts[2]
            if os.readlink(link) == wanted and process != str(os.getpid()):
                name = Path(f"/proc/{process}/comm").read_text(encoding="utf-8").strip()
                return f"{name} (process {process})"
    return None


# USB ids of boards the firmware runs on (from memory: Raspberry Pi's vendor id, and the product id of MicroPython's USB serial port).
USB_VENDOR, USB_PRODUCT = 0x2E8A, 0x0005


def usb_ports() -> list:
    """Serial ports on USB as pyserial lists them (.device, .serial_number, .vid, .pid, .description), likely boards first."""
    ports = [found for found in list_ports.comports() if found.vid is not None]
    return sorted(ports, key=lambda found: (found.vid != USB_VENDOR, found.pid != USB_PRODUCT, found.device))


def is_likely_board(found) -> bool:
    """True for a USB port with the ids of a board that runs MicroPython."""
    return found.vid == USB_VENDOR
