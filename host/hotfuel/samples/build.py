"""From frames, block by block, to the tables of a whole log. Memory stays at the tables plus one block."""

from dataclasses import dataclass, field

import numpy as np
from hotfuel_wire import PROTOCOL_VERSION, codec
from hotfuel_wire.codec import LAYOUTS
from hotfuel_wire.messages import SATURATED, TYPES

from hotfuel.samples import table
from hotfuel.samples.boots import Boots
from hotfuel.samples.bulk import Block, Part
from hotfuel.samples.losses import Losses

_READING, _DESCRIPTION = TYPES["reading"], TYPES["description"]
# No row of the readings table takes less of a log than this: a frame's overhead shared by the most channels a payload holds.
_BYTES_PER_ROW = 7.5
# what all rows of one reading frame share, at the places it has in a row
_SHARED = table.placed(
    {name: table.place(table.READINGS, name) for name in ("time", "tick", "description_id", "boot", "saturated", "known")}, 20
)
Place = slice | np.ndarray  # where a part's frames stand among all frames of its block


@dataclass
class Builder:
    """Takes blocks in log order. `size`: bytes of the log, as far as known, so that the readings table need not grow."""

    size: int
    losses: Losses = field(default_factory=Losses)
    descriptions: dict[int, dict] = field(default_factory=dict)
    fast_boots: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        # Memory never touched is never there: the table may be too long, and is cut at the end.
        self._rows = np.empty(int(self.size / _BYTES_PER_ROW) + 64, table.READINGS)
        self._used = 0
        self._boots = Boots()
        self._messages: dict[str, list[np.ndarray]] = {name: [] for name in table.MESSAGES}
        self._undescribed: dict[int, int] = {}  # ids named by readings before their description came -> readings
        self._last_reading: tuple[int, int, int] | None = None  # boot, description id, tick

    def add(self, block: Block) -> None:
        """Take one block's frames."""
        self.losses.frames += block.frames
        self.losses.pieces_damaged += block.pieces_damaged
        self.losses.bytes_damaged += block.bytes_damaged
        parts = [fitting for part in block.parts if (fitting := self._fitting(part)) is not None]
        if not parts:
            return
        places, count = _places(block.pieces, parts)
        kind, time_ms, tick = np.empty(count, np.uint8), np.empty(count, np.uint32), np.ones(count, np.uint32)
        keys: dict[int, object] = {}
        for part, place in zip(parts, places, strict=True):
            kind[place], time_ms[place] = part.kind, _fixed(part)["time_ms"]
            if part.kind == _DESCRIPTION:
                keys.update(zip(np.arange(count)[place].tolist(), self._take_descriptions(part), strict=True))
            elif part.kind != _READING:
                tick[place] = _fixed(part)["tick"]
        readings = [(part, place) for part, place in zip(parts, places, strict=True) if part.kind == _READING]
        ids = [_uniform(_fixed(part)["description_id"]) for part, _ in readings]
        same_id = ids[0] if ids and ids.count(ids[0]) == len(ids) else None
        if same_id is None:
            by_frame = np.zeros(count, np.uint32)
            for part, place in readings:
                by_frame[place] = _fixed(part)["description_id"]
        boot, time_s = self._boots.steps(kind, tick, time_ms, by_frame if same_id is None else same_id, keys)
        self._take_messages(parts, places, boot, time_s)
        if readings:
            self._take_readings(readings, boot, time_s)

    def readings(self) -> np.ndarray:
        """The readings table; `known` and its count are settled here, because a description may come behind its readings."""
        rows = self._rows[: self._used]
        for number in [number for number in self._undescribed if number in self.descriptions]:
            del self._undescribed[number]
            for at in range(0, len(rows), 1 << 16):
                some = rows[at : at + (1 << 16)]
                some["known"] |= some["description_id"] == number
        self.losses.readings_without_description = sum(self._undescribed.values())
        return rows

    def messages(self) -> dict[str, np.ndarray]:
        """Every other message's table."""
        return {name: np.concatenate([np.empty(0, table.MESSAGES[name]), *rows]) for name, rows in self._messages.items()}

    def _fitting(self, part: Part) -> Part | None:
        """The payloads that have the length their message should have; the others are counted."""
        layout = LAYOUTS.get(part.kind)
        count, length = part.payloads.shape
        if layout is None:
            self.losses.unknown_types[part.kind] = self.losses.unknown_types.get(part.kind, 0) + count
            return None
        behind = length - layout.size
        fits = np.full(count, behind >= 0 and behind % layout.group_size == 0 and (behind == 0 or layout.tail is not None))
        if layout.tail and fits.any():
            fits = _fixed(part)[layout.tail[2]] == behind // layout.group_size
        if fits.all():
            return part
        which = np.flatnonzero(fits)
        self.losses.payloads_misfit += count - len(which)
        return Part(part.kind, part.order[which], part.payloads[which]) if len(which) else None

    def _take_descriptions(self, part: Part) -> list[object]:
        """Keep new ones; returns what tells each one's boot from another."""
        ids = _description_ids(part)
        for number, at in zip(*np.unique(ids, return_index=True), strict=True):
            if int(number) not in self.descriptions:
                told = self.descriptions[int(number)] = codec.unpack(part.payloads[at].tobytes())[1]
                if told["protocol_version"] > PROTOCOL_VERSION:
                    self.losses.newer_protocol = max(self.losses.newer_protocol, told["protocol_version"])
        keys = {number: (told["board_id"], told["boot_count"]) for number, told in self.descriptions.items()}
        return [keys[number] for number in ids.tolist()]

    def _take_messages(self, parts: list[Part], places: list[Place], boot: np.ndarray, time_s: np.ndarray) -> None:
        found: dict[int, list[tuple[np.ndarray, np.ndarray]]] = {}
        for part, place in zip(parts, places, strict=True):
            if part.kind != _READING:
                found.setdefault(part.kind, []).append(
                    (np.arange(len(boot))[place], _message_rows(part, boot[place], time_s[place]))
                )
        for kind, pieces in found.items():
            rows = np.concatenate([rows for _, rows in pieces])
            if len(pieces) > 1:
                rows = rows[np.argsort(np.concatenate([order for order, _ in pieces]))]
            self._messages[LAYOUTS[kind].name].append(rows)
            if kind == _DESCRIPTION:
                self.fast_boots.update(rows["boot"][(rows["simulated"] > 0) & (rows["simulated_speed"] > 1)].tolist())

    def _take_readings(self, readings: list[tuple[Part, Place]], boot: np.ndarray, time_s: np.ndarray) -> None:
        """Write the rows of a block's readings."""
        shared = [_shared(part, boot[place], time_s[place]) for part, place in readings]
        widths = [_channels(part) for part, _ in readings]
        rows = self._room(sum(len(frames) * width for frames, width in zip(shared, widths, strict=True)))
        if len(set(widths)) == 1:  # all of one length, so the parts follow one another
            for frames, width, (part, _) in zip(shared, widths, readings, strict=True):
                self._note(frames)
                _fill(rows[: len(frames) * width].reshape(len(frames), width), part, frames)
                rows = rows[len(frames) * width :]
            return
        order = np.argsort(np.concatenate([np.arange(len(boot))[place] for _, place in readings]))
        ordered = np.concatenate(shared)[order]
        self._note(ordered)
        known = np.empty(len(order), bool)
        known[order] = ordered["known"]
        channels = np.repeat(widths, [len(frames) for frames in shared])
        begins = np.empty_like(channels)
        begins[order] = np.cumsum(channels[order]) - channels[order]
        for frames, width, (part, _) in zip(shared, widths, readings, strict=True):
            frames["known"], known = known[: len(frames)], known[len(frames) :]
            target = np.empty((len(frames), width), table.READINGS)
            _fill(target, part, frames)
            rows[begins[: len(frames), None] + np.arange(width)] = target
            begins = begins[len(frames) :]

    def _room(self, count: int) -> np.ndarray:
        """The next `count` rows of the table."""
        if self._used + count > len(self._rows):  # a log that grew while it was read
            grown = np.empty(2 * len(self._rows) + count, table.READINGS)
            grown[: self._used] = self._rows[: self._used]
            self._rows = grown
        self._used += count
        return self._rows[self._used - count : self._used]

    def _note(self, readings: np.ndarray) -> None:
        """Of readings in log order: mark those whose description has not come, count them, saturated ones, and tick numbers left out."""
        self.losses.readings += len(readings)
        self.losses.readings_saturated += int(readings["saturated"].sum())
        ids = readings["description_id"]
        numbers, counts = ([ids[0]], [len(ids)]) if (ids == ids[0]).all() else np.unique(ids, return_counts=True)
        for number, count in zip(numbers, counts, strict=True):
            if int(number) not in self.descriptions:
                self._undescribed[int(number)] = self._undescribed.get(int(number), 0) + int(count)
                readings["known"][ids == number] = False
        boot, tick = readings["boot"], readings["tick"]
        # between neighbours of one boot and description; a tick number that falls back is no loss
        apart = np.flatnonzero(tick[1:] - tick[:-1] > 1)
        left_out = tick[apart + 1].astype(np.int64) - tick[apart] - 1
        neighbours = (boot[apart + 1] == boot[apart]) & (ids[apart + 1] == ids[apart])
        missing = int(left_out[neighbours & (left_out > 0)].sum())
        if self._last_reading is not None and self._last_reading[:2] == (boot[0], ids[0]):
            missing += max(0, int(tick[0]) - self._last_reading[2] - 1)
        self._last_reading = (int(boot[-1]), int(ids[-1]), int(tick[-1]))
        self.losses.ticks_missing += missing


def _places(pieces: int, parts: list[Part]) -> tuple[list[Place], int]:
    """Where each part's frames stand among all frames of the block, and how many those are."""
    there = np.zeros(pieces, bool)
    for part in parts:
        there[part.order] = True
    rank = np.cumsum(there) - 1
    places: list[Place] = []
    for part in parts:
        place = rank[part.order]
        together = place[-1] - place[0] == len(place) - 1  # ranks ascend within a part
        places.append(slice(int(place[0]), int(place[-1]) + 1) if together else place)
    return places, int(there.sum())


def _fixed(part: Part) -> np.ndarray:
    """The fixed parts of all payloads, as rows of table.WIRE."""
    return part.payloads[:, : LAYOUTS[part.kind].size].view(table.WIRE[part.kind])[:, 0]


def _uniform(numbers: np.ndarray) -> int | None:
    """The value if all have the same, else None."""
    return int(numbers[0]) if (numbers == numbers[0]).all() else None


def _shared(part: Part, boot: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    """What all rows of one frame share, one row a frame."""
    shared = np.empty(len(boot), _SHARED)
    shared["time"], shared["boot"] = time_s, boot
    fixed = _fixed(part)
    shared["tick"], shared["description_id"] = fixed["tick"], fixed["description_id"]
    shared["saturated"], shared["known"] = fixed["type"] >= SATURATED, True
    return shared


def _description_ids(part: Part) -> np.ndarray:
    """Each description's id."""
    told = part.payloads[:, table.HEADER_SIZE :]
    same = bool((told == told[0]).all())
    ids = [codec.description_id(payload.tobytes()) for payload in (part.payloads[:1] if same else part.payloads)]
    return np.array(ids * len(told) if same else ids, np.uint32)


def _message_rows(part: Part, boot: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    layout = LAYOUTS[part.kind]
    wire = _fixed(part)
    rows = np.empty(len(wire), table.MESSAGES[layout.name])
    rows["boot"], rows["time"] = boot, time_s
    rows["saturated"] = wire["type"] >= SATURATED
    for name in wire.dtype.names or ():
        if name != "type":
            rows[name] = wire[name]
    if layout.name == "description":
        rows["description_id"] = _description_ids(part)
    elif layout.tail:
        tails = np.empty(len(rows), object)
        tails[:] = [tail.tobytes() for tail in part.payloads[:, layout.size :]]
        rows[layout.tail[0]] = tails
    return rows


def _channels(part: Part) -> int:
    return (part.payloads.shape[1] - LAYOUTS[_READING].size) // table.CHANNEL.itemsize


def _fill(rows: np.ndarray, part: Part, shared: np.ndarray) -> None:
    """rows[frame, channel] from a part's payloads and what its frames share. Whole stretches of a row are copied, not field by field."""
    size = table.CHANNEL.itemsize
    _stretch(rows, 0, _SHARED.itemsize)[:] = shared.view(f"V{_SHARED.itemsize}")[:, None]
    _stretch(rows, _SHARED.itemsize, size)[:] = part.payloads[:, LAYOUTS[_READING].size :].view(f"V{size}")
    rows["channel"] = np.arange(rows.shape[1])


def _stretch(rows: np.ndarray, at: int, size: int) -> np.ndarray:
    """`size` bytes of every row, from byte `at` on."""
    return rows.view(table.placed({"stretch": (f"V{size}", at)}, rows.dtype.itemsize))["stretch"]
