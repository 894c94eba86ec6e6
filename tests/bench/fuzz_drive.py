"""Targets of a drive (see fuzz_targets.py): a receiver's sentences, tables read by hand, lap lines, logs with others written behind them."""

import contextlib
import itertools
import tempfile
from pathlib import Path

import numpy as np
from hotfuel.errors import HotfuelError
from hotfuel.log import follow, identity, others
from hotfuel.samples import decode
from hotfuel.session import by_hand, positions
from hotfuel.study.drive import ground

_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
_kept: dict[str, object] = {}


def sentences(data: bytes) -> None:
    """Lines of a receiver, a second apart: positions on the Earth, in rising order, or none."""
    lines = data.split(b"\n")
    found = positions.positions(lines, np.arange(len(lines), dtype=float))
    assert (np.diff(found.seconds) > 0).all()
    assert (np.abs(found.latitude_deg) <= 90).all() and (np.abs(found.longitude_deg) <= 180).all()
    assert len(found.seconds) == len(found.speed_m_s) <= len(lines)


def hand_table(data: bytes) -> None:
    """A table that a person wrote for a log (the first byte says whether the log knows the time of day): finite readings within
    bounds, or a sentence."""
    with contextlib.suppress(HotfuelError):
        text = data[1:].decode("utf-8-sig", "replace")
        found, remarks = by_hand.of_table(text, "readings-1.csv", 1.78e9, bool(data[:1] and data[0] & 1), 120)
        for one in found:
            _, least, greatest = by_hand.DIMENSIONS[one.dimension]
            assert np.isfinite(one.seconds) and least <= one.value <= greatest
        for said in remarks:
            said.encode("utf-8")
        by_hand.flow_l_h(found, np.arange(5) + 1.78e9, 0.0)


def ground_line(data: bytes) -> None:
    """A lap line as it is typed or stored: written out, it is read back the same."""
    with contextlib.suppress(HotfuelError):
        line = ground.parse(data.decode("utf-8", "replace"))
        assert str(ground.parse(str(line))) == str(line)


def mixed(data: bytes) -> None:
    """Pieces of three logs, joined as the bytes say (which, from where, how much): a file, a growing file and bytes in memory
    give the same, no byte twice, and no reading from behind another's start."""
    from fuzz_targets import good_payloads
    from hotfuel_wire import framing

    if "logs" not in _kept:
        frames = [framing.encode(payload) for payload in good_payloads()]
        frames = [frame for frame in frames if len(frame) < 120][:12]
        _kept["logs"] = [
            identity.frame(name, 1.78e9, part) + b"".join(frames) for name, part in ((b"a" * 8, 0), (b"a" * 8, 1), (b"b" * 8, 0))
        ]
        _kept["folder"] = tempfile.TemporaryDirectory(dir=_MEMORY)
    logs: list[bytes] = _kept["logs"]  # type: ignore[assignment]
    whole = b""
    for at in range(0, len(data) - 2, 3):
        log = logs[data[at] % 3]
        begin = 0 if data[at] & 0x80 else data[at + 1] * len(log) // 256
        whole += log[begin : begin + 1 + data[at + 2] * len(log) // 256]
    path = Path(_kept["folder"].name) / "wire.log"  # type: ignore[attr-defined]
    path.write_bytes(whole)
    found = others.of(path)
    assert found == others.Finder(others.reading_bytes(whole)).others(len(whole))
    assert all(one.begin < one.end for one in found)
    assert all(one.end <= two.begin for one, two in itertools.pairwise(found))
    own = b"".join(others.own(others.reading_bytes(whole), len(whole), found, 100))
    assert own == b"".join(follow.blocks(path, 100)) and len(own) == len(whole) - sum(one.end - one.begin for one in found)
    first, second = decode(path), decode(whole)
    assert np.array_equal(first.scans, second.scans)
    assert len({bytes(one) for one in first.messages["log_start"]["log_id"]}) <= 1
    with follow.Follower(path, everything=True) as raw:
        assert raw.read() == whole


DRIVE = {
    "sentences": (lambda: sentences, 1024),
    "hand_table": (lambda: hand_table, 1024),
    "ground_line": (lambda: ground_line, 128),
    "mixed": (lambda: mixed, 48),
}
