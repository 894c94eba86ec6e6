"""From frames, block by block, to the tables of a whole log. Memory use is the tables plus one block."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from hotfuel_wire import PROTOCOL_VERSION, codec
from hotfuel_wire.codec import LAYOUTS, Layout
from hotfuel_wire.kinds import KINDS
from hotfuel_wire.messages import SATURATED, TYPES

from hotfuel.samples import table
from hotfuel.samples.boots import Boots
from hotfuel.samples.bulk import Block, Part
from hotfuel.samples.losses import Losses

_READING, _DESCRIPTION = TYPES["reading"], TYPES["description"]
_FIXED = LAYOUTS[_READING].size  # bytes of a reading before its channels
_COUNT_AT = table.field(table.WIRE[_READING], table.COUNT)[1]  # the byte that says how many channels there are
_FRAME = 6  # bytes on the wire that a payload does not hold, at least: a zero, a byte of COBS, the CRC
Positions = slice | np.ndarray  # the positions of a part's frames among all frames of its block
_Boot = np.ndarray | int  # of each frame, or of all of them


@dataclass
class _Messages:
    """A part whose payloads are messages: their group is repeated `count` times. `fixed`: their fixed parts, as rows of table.WIRE."""

    kind: int
    order: np.ndarray
    payloads: np.ndarray
    count: int
    fixed: np.ndarray
    where: Positions = field(default_factory=lambda: slice(0))
    one_id: int | None = None  # the description that all of them name, if they are readings and do


@dataclass
class Builder:
    """Takes blocks in log order. `size`: bytes of the log, as far as known, so that the table of scans need not grow."""

    size: int
    losses: Losses = field(default_factory=Losses)
    descriptions: dict[int, dict] = field(default_factory=dict)
    fast_boots: set[int] = field(default_factory=set)
    named: set[int] = field(default_factory=set)  # ids of the descriptions that readings name

    def __post_init__(self) -> None:
        self._rows = np.empty(0, table.scans(0))
        self._used = 0
        self._boots = Boots()
        self._messages = {name: np.empty(0, row) for name, row in table.MESSAGES.items()}
        self._filled = dict.fromkeys(table.MESSAGES, 0)
        self._undescribed: dict[int, int] = {}  # id that readings named before its description came -> number of those readings
        self._last_reading: tuple[int, int, int] | None = None  # boot, description id, tick

    def add(self, block: Block) -> None:
        """Take one block's frames."""
        self.losses.frames += block.frames
        self.losses.pieces_damaged += block.pieces_damaged
        self.losses.bytes_damaged += block.bytes_damaged
        parts = [fitting for part in block.parts for fitting in self._fitting(part)]
        if not parts:
            return
        positions, count = _positions(block.pieces, parts)
        kind, time_ms, tick = np.empty(count, np.uint8), np.empty(count, np.uint32), np.ones(count, np.uint32)
        keys: dict[int, object] = {}
        for part, where in zip(parts, positions, strict=True):
            part.where = where
            kind[where], time_ms[where] = part.kind, part.fixed["time_ms"].copy()  # aligned, which is twice as fast
            if part.kind == _DESCRIPTION:
                at = range(count)[where] if isinstance(where, slice) else where.tolist()
                told = self._take_descriptions(part)
                keys.update(dict.fromkeys(at, told[0]) if len(told) == 1 else zip(at, told, strict=True))
            elif part.kind != _READING:
                tick[where] = part.fixed["tick"]
        readings = [part for part in parts if part.kind == _READING]
        for part in readings:
            part.one_id = _uniform(part.fixed["description_id"])
        same_id = readings[0].one_id if len({part.one_id for part in readings}) == 1 else None
        if same_id is None:
            by_frame = np.zeros(count, np.uint32)
            for part in readings:
                by_frame[part.where] = part.fixed["description_id"]
        boots, time_s = self._boots.steps(kind, tick, time_ms, by_frame if same_id is None else same_id, keys)
        same_boot = _uniform(boots)
        boot = boots if same_boot is None else same_boot
        self._take_messages(block.pieces, parts, boot, time_s)
        if readings:
            self._take_readings(readings, kind, boot, time_s, same_id)

    @property
    def starts(self) -> int:
        """Starts of the board seen so far."""
        return self._boots.boot + 1

    def scans(self) -> np.ndarray:
        """The table of scans; `known` and its count are set here, because a description may come after its readings."""
        rows = self._rows[: self._used]
        for number in [number for number in self._undescribed if number in self.descriptions]:
            del self._undescribed[number]
            rows["known"] |= rows["description_id"] == number
        self.losses.readings_without_description = sum(self._undescribed.values())
        return rows

    def messages(self) -> dict[str, np.ndarray]:
        """Every other message's table."""
        return {name: rows[: self._filled[name]] for name, rows in self._messages.items()}

    def _fitting(self, part: Part) -> list[_Messages]:
        """The payloads that are long enough for their message and do not end inside a field, one part for each number of repeated groups.

        They may be shorter or longer than this version writes; the others are counted and left out.
        """
        layout = LAYOUTS.get(part.kind)
        payloads, length = part.payloads.shape
        if layout is None:
            self.losses.unknown_types[part.kind] = self.losses.unknown_types.get(part.kind, 0) + payloads
            return []
        fitting: list[_Messages] = []
        taken = 0
        if length >= layout.size:
            fixed = part.payloads[:, : layout.size].view(table.WIRE[part.kind])[:, 0]
            counts = fixed[layout.tail[2]] if layout.tail else np.zeros(1, np.uint8)
            uniform = _uniform(counts)
            for count in np.unique(counts).tolist() if uniform is None else [uniform]:
                if ends_well(layout, length - layout.size - count * layout.group_size):
                    which = slice(None) if uniform is not None else np.flatnonzero(counts == count)
                    fitting.append(_Messages(part.kind, part.order[which], part.payloads[which], count, fixed[which]))
                    taken += len(fitting[-1].order)
        self.losses.payloads_misfit += payloads - taken
        return fitting

    def _take_descriptions(self, part: _Messages) -> list[object]:
        """Keep new ones; returns the key that identifies each one's boot, or one key if all are alike."""
        ids = _description_ids(part)
        keys: dict[int, object] = {}
        for number in dict.fromkeys(ids):
            if number not in self.descriptions:
                self.descriptions[number] = codec.unpack(part.payloads[ids.index(number)].tobytes())[1]
            told = self.descriptions[number]
            if told["protocol_version"] > PROTOCOL_VERSION:
                self.losses.newer_protocol = max(self.losses.newer_protocol, told["protocol_version"])
            keys[number] = told["board_id"], told["boot_count"]
        return [keys[number] for number in ids]

    def _take_messages(self, pieces: int, parts: list[_Messages], boot: _Boot, time_s: np.ndarray) -> None:
        """Write a block's other messages, those of each type in log order."""
        found: dict[int, list[_Messages]] = {}
        for part in parts:
            if part.kind != _READING:
                found.setdefault(part.kind, []).append(part)
        for kind, mine in found.items():
            among, count = _positions(pieces, mine)
            rows = self._message_rows(LAYOUTS[kind].name, count)
            for part, at in zip(mine, among, strict=True):
                _fill_messages(rows, at, part, _at(boot, part.where), time_s[part.where])
            if kind == _DESCRIPTION:
                self.fast_boots.update(rows["boot"][(rows["simulated"] > 0) & (rows["simulated_speed"] > 1)].tolist())

    def _message_rows(self, name: str, count: int) -> np.ndarray:
        """The next `count` rows of a message's table, which is allocated as long as the log so far suggests, and grows where that was too short."""
        before, filled = self._messages[name], self._filled[name]
        if filled + count > len(before):
            as_before = int(1.1 * count * self.size / self.losses.bytes_total) if self.losses.bytes_total else 0
            # np.empty takes a hundred times as long where a column holds objects
            self._messages[name] = np.zeros(max(as_before, 2 * filled) + count, before.dtype)
            self._messages[name][:filled] = before[:filled]
        self._filled[name] += count
        return self._messages[name][filled : filled + count]

    def _take_readings(
        self, readings: list[_Messages], kind: np.ndarray, boot: _Boot, time_s: np.ndarray, same_id: int | None
    ) -> None:
        """Write a block's scans, in log order. same_id: the description that all of them name, None if they name several."""
        rows = self._room(sum(len(part.order) for part in readings), max(part.count for part in readings))
        shapes = {(part.payloads.shape[1], part.count) for part in readings}
        rank = np.cumsum(kind == _READING) - 1 if len(shapes) > 1 else None
        begin = 0
        for part in readings:
            end = begin + len(part.order)  # parts of one length and count follow one another
            where = slice(begin, end) if rank is None else rank[part.where]
            self.losses.readings_saturated += _fill(rows, where, part, _at(boot, part.where), time_s[part.where])
            begin = end
        self._note(rows, same_id)

    def _room(self, count: int, channels: int) -> np.ndarray:
        """The next `count` rows of the table, which has room for that many channels."""
        before = self._rows
        channels = max(channels, before.dtype["channels"].shape[0])
        if self._used + count > len(before) or table.scans(channels) != before.dtype:
            # The system provides memory only once it is written to: the table may be too long, and is cut at the end. It grows if the log grows while read.
            fitting = self.size // (_FRAME + _FIXED + channels * table.CHANNEL.itemsize) + 64
            self._rows = np.empty(max(fitting, 2 * self._used + count), table.scans(channels))
            _widen(before[: self._used], self._rows[: self._used])
        self._used += count
        return self._rows[self._used - count : self._used]

    def _note(self, readings: np.ndarray, same_id: int | None) -> None:
        """Of readings in log order: mark those whose description has not come, count them, and tick numbers left out."""
        self.losses.readings += len(readings)
        ids = readings["description_id"]
        numbers, counts = np.unique(ids, return_counts=True) if same_id is None else ([same_id], [len(ids)])
        self.named.update(map(int, numbers))
        for number, count in zip(numbers, counts, strict=True):
            if int(number) not in self.descriptions:
                self._undescribed[int(number)] = self._undescribed.get(int(number), 0) + int(count)
                readings["known"][ids == number] = False
        boot, tick = readings["boot"], readings["tick"]
        # between neighbours of one boot and description; a tick number that falls back is not a loss
        apart = np.flatnonzero(tick[1:] - tick[:-1] > 1)
        left_out = tick[apart + 1].astype(np.int64) - tick[apart] - 1
        neighbours = (boot[apart + 1] == boot[apart]) & (ids[apart + 1] == ids[apart])
        missing = int(left_out[neighbours & (left_out > 0)].sum())
        if self._last_reading is not None and self._last_reading[:2] == (boot[0], ids[0]):
            missing += max(0, int(tick[0]) - self._last_reading[2] - 1)
        self._last_reading = (int(boot[-1]), int(ids[-1]), int(tick[-1]))
        self.losses.ticks_missing += missing


def _positions(pieces: int, parts: list[_Messages]) -> tuple[list[Positions], int]:
    """The positions of each part's frames among all frames of the block, and how many frames there are."""
    if len(parts) == 1:
        return [slice(0, len(parts[0].order))], len(parts[0].order)
    if sum(len(part.order) for part in parts) == pieces:
        return [part.order for part in parts], pieces
    there = np.zeros(pieces, bool)
    for part in parts:
        there[part.order] = True
    frames = np.flatnonzero(there)
    rank = np.empty(pieces, np.intp)
    rank[frames] = np.arange(len(frames))
    positions: list[Positions] = []
    for part in parts:
        where = rank[part.order]
        together = where[-1] - where[0] == len(where) - 1  # ranks ascend within a part
        positions.append(slice(int(where[0]), int(where[-1]) + 1) if together else where)
    return positions, len(frames)


def ends_well(layout: Layout, behind: int) -> bool:
    """True if a payload with that many bytes after its repeated groups ends at the end of a field, or after the last field known here."""
    for row in layout.later:
        if behind <= 0:
            break
        behind -= KINDS[row[1]][1]
    else:
        return behind >= 0
    return behind == 0


def _bytes(part: _Messages, begin: int, size: int) -> np.ndarray:
    """`size` bytes of every payload, from byte `begin` on, as one element."""
    return part.payloads[:, begin : begin + size].view(f"V{size}")[:, 0]


def _at(boot: _Boot, where: Positions) -> _Boot:
    """The boots of some frames of a block."""
    return boot if isinstance(boot, int) else boot[where]


def _uniform(numbers: np.ndarray) -> int | None:
    """The value if all have the same, else None."""
    return int(numbers[0]) if (numbers == numbers[0]).all() else None


def _description_ids(part: _Messages) -> list[int]:
    """Each description's id, or one if all are alike."""
    told = part.payloads[:, table.HEADER_SIZE :]
    alike = bool((told == told[0]).all())
    return [codec.description_id(payload.tobytes()) for payload in (part.payloads[:1] if alike else part.payloads)]


def _fill_messages(rows: np.ndarray, at: Positions, part: _Messages, boot: _Boot, time_s: np.ndarray) -> None:
    """Put one part's messages, which are no readings, into rows[at]. The rows are zero."""
    layout = LAYOUTS[part.kind]
    fixed = part.fixed
    rows["boot"][at], rows["time"][at] = boot, time_s
    saturated = fixed["type"] >= SATURATED
    if saturated.any():
        rows["saturated"][at] = saturated
    size = layout.size - table.BEFORE_TICK  # in the table the fields have the order they have on the wire
    table.span(rows, table.field(rows.dtype, "tick")[1], size)[at] = _bytes(part, table.BEFORE_TICK, size)
    if layout.name == "description":
        rows["description_id"][at] = _description_ids(part)
    elif layout.tail:
        size = part.count * layout.group_size
        rows[layout.tail[0]][at] = _bytes(part, layout.size, size).astype(object) if size else b""
    for name, values in table.later(layout, part.payloads, part.count):
        rows[name][at] = values


def _fill(rows: np.ndarray, at: Positions, part: _Messages, boot: _Boot, time_s: np.ndarray) -> int:
    """Put one part's readings into rows[at]; channels beyond those sent are zero. Returns how many are saturated."""
    fixed, row = part.fixed, rows.dtype.itemsize
    into = rows[at] if isinstance(at, slice) else np.empty(len(time_s), rows.dtype)
    alike = np.zeros(1, rows.dtype)  # the part all have in common is copied as one
    alike["known"], alike["width"] = True, part.count
    columns: list[tuple[str, Any]] = [
        ("boot", boot),
        ("description_id", fixed["description_id"] if part.one_id is None else part.one_id),
    ]
    saturated = fixed["type"] >= SATURATED
    saturated_count = int(np.count_nonzero(saturated))
    columns += [("saturated", saturated if saturated_count else False)]
    columns += table.later(LAYOUTS[_READING], part.payloads, part.count)
    for name, values in columns:
        if not isinstance(values, np.ndarray):
            alike[name] = values
    table.span(into, 0, row)[:] = table.span(alike, 0, row)
    into["time"], into["tick"] = time_s, fixed["tick"].copy()
    for name, values in columns:
        if isinstance(values, np.ndarray):
            into[name] = values
    if part.count:
        size = part.count * table.CHANNEL.itemsize
        table.span(into, table.SHARED.itemsize, size)[:] = _bytes(part, _FIXED, size)
    if not isinstance(at, slice):
        table.span(rows, 0, row)[at] = table.span(into, 0, row)
    return saturated_count


def _widen(rows: np.ndarray, wider: np.ndarray) -> None:
    """Copy scans to a table that has room for at least as many channels; those that were not there are zero."""
    before, now = (table.SHARED.itemsize + one.dtype["channels"].shape[0] * table.CHANNEL.itemsize for one in (rows, wider))
    table.span(wider, 0, before)[:] = table.span(rows, 0, before)
    if now > before:
        table.span(wider, before, now - before)[:] = np.void(bytes(now - before))


def scans_of(payloads: Sequence[bytes], boot: int, time_s: np.ndarray) -> np.ndarray:
    """Whole readings of one boot as rows of table.scans, in the order given; time_s: s since that boot, (n,)."""
    alike: dict[tuple[int, int], list[int]] = {}  # length and number of channels -> which
    for number, payload in enumerate(payloads):
        alike.setdefault((len(payload), payload[_COUNT_AT]), []).append(number)
    rows = np.zeros(len(payloads), table.scans(max(count for _, count in alike)))
    for (length, count), numbers in alike.items():
        bare = np.frombuffer(b"".join([payloads[number] for number in numbers]), np.uint8).reshape(-1, length)
        at = np.array(numbers)
        part = _Messages(_READING, at, bare, count, bare[:, :_FIXED].view(table.WIRE[_READING])[:, 0])
        _fill(rows, slice(None) if len(alike) == 1 else at, part, boot, time_s[at])
    return rows
