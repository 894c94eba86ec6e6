"""What is missing from a log, counted: on the wire, on the board, on the host."""

from dataclasses import dataclass, field

from hotfuel_wire.messages import GAP_REASONS

from hotfuel.text import counted

_REASONS = {number: name for name, number in GAP_REASONS.items()}
_PLAIN = {
    "unknown": "for an unknown reason",
    "port_gone": "because the connection to the board was lost",
    "silence": "because the board sent nothing",
    "disk_full": "because the disk was full",
    "recording_ended": "because the recording ended",
    "recorder_stopped": "because the recording program had stopped",
}


@dataclass(frozen=True)
class Gap:
    """From `wall_s` (unix seconds) on, for `length_s`, nothing could be received or kept. `boot`, `time_s`: of the board's last frame before it."""

    wall_s: float
    length_s: float
    reason: str
    boot: int
    time_s: float


@dataclass
class Losses:
    """Counts over one log; `sentences()` puts them into words."""

    bytes_total: int = 0
    frames: int = 0  # with a right CRC
    pieces_damaged: int = 0  # between two zeros, but not a frame
    bytes_damaged: int = 0
    ticks_missing: int = 0  # numbers left out between readings of one boot and description, or before the first after a start
    unknown_types: dict[int, int] = field(default_factory=dict)
    payloads_misfit: int = 0  # right CRC, but longer or shorter than their message
    newer_protocol: int = 0  # highest protocol version seen above this program's; 0: none
    readings: int = 0  # frames, not channels
    readings_without_description: int = 0
    readings_saturated: int = 0
    board_dropped: int = 0  # frames and readings the board could not send in time, by its own count
    gaps: list[Gap] = field(default_factory=list)

    def sentences(self) -> list[str]:
        """One sentence per kind of loss, worst first; empty if nothing is missing."""
        said = []
        if self.newer_protocol:
            said.append(
                f"The board's firmware is newer than this program (protocol {self.newer_protocol}): what this program does not know of is left out; "
                "update it."
            )
        if self.readings_without_description:
            one = self.readings_without_description == 1
            said.append(
                f"{self.readings_without_description} of {counted(self.readings, 'reading')} {'has' if one else 'have'} no temperature: the board's list of "
                f"its probes, without which {'it' if one else 'they'} cannot be read, was not received whole; what the fuel did then is not known."
            )
        if self.ticks_missing:
            are = counted(self.ticks_missing, "reading is", "readings are")
            said.append(f"{are} missing between those that arrived, or before the first after a start.")
        if self.board_dropped:
            lost = counted(self.board_dropped, "reading or message was", "readings or messages were")
            said.append(f"By the board's own count, {lost} lost because it could not send in time.")
        if self.readings_saturated:
            have = counted(self.readings_saturated, "reading has", "readings have")
            said.append(f"{have} no temperature: a value was larger than the board can send.")
        if self.pieces_damaged:
            pieces, were = counted(self.pieces_damaged, "damaged piece"), "was" if self.pieces_damaged == 1 else "were"
            said.append(f"{pieces} of the recording ({self.bytes_damaged} of {self.bytes_total} bytes) {were} left out.")
        for number, count in sorted(self.unknown_types.items()):
            were = "was" if count == 1 else "were"
            said.append(f"{counted(count, 'message')} of type {number}, which this version does not know, {were} left out.")
        if self.payloads_misfit:
            have = counted(self.payloads_misfit, "message has", "messages have")
            said.append(f"{have} an unexpected length and {'was' if self.payloads_misfit == 1 else 'were'} skipped.")
        # the recorder closes every log with a gap, usually of no length
        told = [gap for gap in self.gaps if gap.reason != "recording_ended" or round(gap.length_s, 1) > 0]
        said += [f"Nothing was received for {gap.length_s:.1f} s {_PLAIN[gap.reason]}." for gap in told]
        return said


def lost(length_ms: int, reason: str) -> bool:
    """Whether a link gap lost anything: one that only says where a log goes on elsewhere (`log.reserve`), or that it ends, has no length."""
    return bool(length_ms) or reason not in ("disk_full", "recording_ended")


def gap_reason(number: int) -> str:
    """The name of a link gap's reason; "unknown" for a number this version does not know."""
    return _REASONS.get(int(number), "unknown")
