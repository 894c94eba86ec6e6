"""The prose for each field, for people and PROTOCOL.md, and what an event's value says. Host only: strings cost memory on the board."""

from hotfuel_wire import messages
from hotfuel_wire.amplifiers import ROWS

CHIP_NAMES = {number: name for name, number in messages.CHIPS.items()}
EVENT_NAMES = {number: name for name, number in messages.EVENTS.items()}

MESSAGES = {
    "header": "Begins every payload.",
    "description": "Which board is sending and what each channel is. Sent at boot, every 10 s, at every change, and at the start of each stored segment. "
    "These fields never change between protocol versions.",
    "reading": "All channels at one tick, as the chips gave them.",
    "auxiliary": "The other inputs, raw; `fitted` and `fitted_high` say which of them exist.",
    "event": "Something happened on the board.",
    "health": "How the board is doing; every count is a running total since boot. Sent every 10 s.",
    "command": "Host to board. Each is answered by one reply; a sequence number already answered gets the same reply again and changes nothing.",
    "reply": "The board's answer to a command. Never stored.",
    "data": "A piece of a stored segment, the answer to `fetch`.",
    "barometer": "The barometer chip's factory calibration; sent with each description when one is fitted.",
    "more_inputs": "Inputs that only some boards have, raw, once a second, those that gave a value: the setting `more_inputs` names what is fitted.",
    "receiver_sentence": "An NMEA 0183 sentence from a satellite receiver at the board, as received; the time in it identifies the fix. At most five a "
    "second, live only: RMC, or GGA of a receiver that sends no RMC.",
    "track": "That receiver's positions for the store, one a second of its own time, up to ten in one message.",
    "wall_anchor": "At this wall time the board's clock showed the time in the header. "
    "From the host (when it received such a frame) or from a board with a clock chip.",
    "mark": "Host only: what a person said happened at this wall time.",
    "link_gap": "Host only: from `wall_us` on, for `length_ms`, nothing could be received or kept.",
    "log_start": "Host only: begins a log, and each part added by a recording that continued it after a crash. A copy of the log has the same number.",
    "sentence": "Host only: an NMEA 0183 sentence from a satellite receiver at the computer's second port, as received.",
}

FIELDS = {
    "header.type": "The message's number, plus 128 if the board had to change a number in this payload to make it fit",
    "header.tick": "Board time divided by the sampling period, so that a missed tick leaves a gap",
    "header.time_ms": "Time since boot at the conversion or event, wrapping at 2^32",
    "description.protocol_version": "Raised when a message grows or one is added",
    "description.firmware_major": "Firmware version, first number",
    "description.firmware_minor": "Firmware version, second number",
    "description.firmware_patch": "Firmware version, third number",
    "description.board_id": "The processor's unique id",
    "description.boot_count": "Boots of this board so far, kept in its settings; makes every boot's description differ",
    "description.reset_cause": "Why the board started: 0 unknown, 1 power on, 3 watchdog (the program hung), 5 soft reset, 6 woken by the ignition, "
    "7 from its prompt, after service or an installation",
    "description.period_ms": "Sampling period",
    "description.simulated": "1: not a real board",
    "description.simulated_speed": "How many times faster than real time a simulated board runs; 0: real board",
    "description.channel_count": "Number of channels that follow",
    "description.channels.place": "Where the probe sits, ASCII, padded with zeros",
    "description.channels.chip": "Amplifier: " + ", ".join(f"{row['number']} {name}" for name, row in ROWS.items()),
    "description.channels.thermocouple": "Thermocouple type as an ASCII letter",
    "description.channels.gain": "Amplifier gain of the MAX31856's voltage mode (8 or 32); 1 for the others",
    "description.channels.mains_hz": "Mains frequency the chip's filter rejects (50 or 60); 0 where there is none",
    "description.channels.averages": "Conversions averaged in the chip",
    "description.channels.mode": "0 one conversion started per tick, 1 converting by itself",
    "description.channels.resolution_bits": "Resolution of the hot code",
    "reading.description_id": "CRC-32 of the description's payload after its header: which gain, filter and place these codes belong to",
    "reading.channel_count": "Number of channels that follow",
    "reading.channels.hot": "Hot code as the chip gives it, see codes; or a reason below -0x3FFFFFF0: -0x3FFFFFFF no answer, -0x3FFFFFFE configuration lost, "
    "-0x3FFFFFFD no new conversion, -0x3FFFFFFC bit errors: repeated reads disagreed",
    "reading.channels.cold": "Cold-junction code as the chip gives it; see codes",
    "reading.channels.status": "The chip's own fault bits; see status bits",
    "auxiliary.fitted": "1 barometer, 2 battery, 4 fuel pressure, 8 engine pulses, 16 ignition, 32 mark button, 64 pulses counted by interrupt only",
    "auxiliary.inputs": "1 ignition is on, 2 the button is pressed, 4 the ignition has not been on in any boot: its wire may be missing",
    "auxiliary.battery": "Supply voltage behind its divider (11 to 1 as drawn), 0 to 65535 of the 3.3 V reference",
    "auxiliary.fuel_pressure": "Fuel-pressure sender, 0 to 65535 of its supply",
    "auxiliary.pulses": "Engine-speed pulses since boot, wrapping at 2^32; while 0 the wire may be missing",
    "auxiliary.barometer_length": "Number of bytes that follow; 0 without a barometer",
    "auxiliary.barometer": "The barometer chip's data registers as read (pressure, then temperature)",
    "auxiliary.fitted_high": "The next bits of `fitted`, 256 for the lowest; none assigned yet",
    "event.code": "What happened; see the list of events",
    "event.channel": "Channel concerned; 255 none",
    "event.value": "A number that belongs to the event; see the list of events",
    "event.detail_length": "Number of bytes that follow",
    "event.detail": "Text that belongs to the event, UTF-8",
    "health.late_ticks": "Ticks that came more than half a period late",
    "health.skipped_ticks": "Ticks that came less than half a period after the last reading and were skipped",
    "health.longest_tick_us": "Longest time one tick took",
    "health.frames_sent": "Frames written to the host",
    "health.frames_dropped": "Frames the host did not take in time",
    "health.frames_stored": "Frames written to the on-board store",
    "health.readings_dropped": "Readings overwritten in the ring before they could be framed",
    "health.memory_free": "Free heap",
    "health.store_free_kb": "Free room in the on-board store; 65535 without one",
    "health.lamp": "What the lamp shows: 0 alive, 1 wink, 2 store full, 3 no limits or old ones, 4 sensor lost, 5 warn, 6 act, 7 lamp test, "
    "8 part of the board could not start",
    "health.alarm_unseen": "1: an alarm has come since the button was last pressed",
    "health.limits_age_days": "Days since the limits were loaded; 65535 none loaded or time of day unknown",
    "health.bit_errors": "Reads of the amplifiers that disagreed with the previous read or with what was written, and were repeated",
    "health.failed": "Parts that could not start: 1 limits (no warnings), 2 store (nothing is stored), "
    "4 power (no sleep, no low-battery cut-off), 8 settings (damaged or not allowed: the defaults are in use), "
    "16 more_inputs (the converter does not answer, or its program could not start), "
    "32 receiver (no sentence for 10 s, or its program could not start)",
    "command.sequence": "Chosen by the host, counting up",
    "command.code": "See the list of commands",
    "command.argument_length": "Number of bytes that follow",
    "command.argument": "Belongs to the command",
    "reply.sequence": "Of the command answered",
    "reply.code": "Of the command answered",
    "reply.outcome": "0 done, else the reason: see the list of outcomes",
    "reply.answer_length": "Number of bytes that follow",
    "reply.answer": "Belongs to the command; if the outcome is not 0, the reason in words, UTF-8",
    "data.segment": "Number of the stored segment",
    "data.offset": "Position of these bytes in the segment",
    "data.data_length": "Number of bytes that follow; 0 at the segment's end",
    "data.data": "Bytes of the segment",
    "barometer.chip": "1 BMP280, 2 BMP390",
    "barometer.words_length": "Number of bytes that follow",
    "barometer.words": "Calibration registers as read, lowest address first",
    "more_inputs.count": "Number of inputs that follow",
    "more_inputs.inputs.input": "Which one; see more inputs",
    "more_inputs.inputs.value": "Of analogue_1 to analogue_4 the code of an ADS1115 at its range of 4.096 V: 125 uV each, behind a divider of 42 to 27; "
    "of flow_1 and flow_2 pulses since boot, wrapping at 2^30",
    "receiver_sentence.text_length": "Number of bytes that follow",
    "receiver_sentence.text": "From $ to the checksum, without the line end",
    "track.age_ms": "How long before `time_ms` the first position came",
    "track.time_cs": "The receiver's time of day of the first position, hundredths of a second",
    "track.latitude": "Of the first position, 1e-5 minutes of arc, north positive",
    "track.longitude": "The same, east positive",
    "track.speed": "Over ground there; 0 where the receiver has none",
    "track.count": "Number of further positions",
    "track.steps.later_cs": "Receiver time since the previous position",
    "track.steps.north": "Distance north of the previous position",
    "track.steps.east": "Distance east of it; never across 180 degrees",
    "track.steps.speed": "Over ground there",
    "wall_anchor.wall_us": "Microseconds since 1970-01-01 00:00 UTC",
    "wall_anchor.monotonic_us": "The host's monotonic clock at the same moment: shows when wall time was set or the host slept",
    "wall_anchor.flags": "1 the time came from the board's clock chip, 2 a person entered it",
    "mark.wall_us": "Microseconds since 1970-01-01 00:00 UTC",
    "mark.text_length": "Number of bytes that follow",
    "mark.text": "UTF-8",
    "link_gap.wall_us": "When the gap began, microseconds since 1970-01-01 00:00 UTC",
    "link_gap.length_ms": "How long it lasted; 0 in a log's last frame: with reason 3 the disk was full, and it continues elsewhere; with 4 it ends there",
    "link_gap.bytes_damaged": "Bytes received since the previous link_gap that were not valid frames",
    "link_gap.reason": "0 unknown, 1 the port went away, 2 silence, 3 disk full, 4 the recording ended, 5 the recording program had stopped",
    "log_start.log_id": "Random, drawn when the log began; bytes kept elsewhere while its disk failed carry it too",
    "log_start.wall_us": "When this part began, microseconds since 1970-01-01 00:00 UTC",
    "log_start.part": "0 the first recording into this log, 1 the one that continued it, and so on",
    "log_start.marks_end": "1 the recorder of this part ends it with a link_gap of reason 4, the log's last frame; 0 it may not: an earlier version",
    "sentence.wall_us": "When its end was received, microseconds since 1970-01-01 00:00 UTC",
    "sentence.monotonic_us": "The host's monotonic clock then, the same as the anchors': converts to board time",
    "sentence.text_length": "Number of bytes that follow",
    "sentence.text": "From $ to the checksum, without the line end",
}

# chip -> (hot code, cold code)
CODES = {
    "MAX31856": ("19 bits, signed; EMF in V = code / (`gain` x 1.6 x 2^17)", "1/256 degC, signed; the lowest two bits are 0"),
    "MAX31855": (
        "14 bits, signed, 0.25 degC; the chip's own straight line: EMF in V = 41.276e-6 x (hot degC - cold degC)",
        "1/16 degC, signed",
    ),
    "MCP9601": ("raw ADC register, signed; EMF in V = code x 2e-6 x 2^(18 - `resolution_bits`)", "1/16 degC, signed"),
    "MCP9600": ("as the MCP9601", "1/16 degC, signed"),
}

# event -> (what happened, value, detail); empty where there is none
EVENTS = {
    "boot": ("the board has started", "boot count", "why the stored settings could not be used"),
    "configuration_lost": ("a chip's registers no longer held what was written; it was set up again", "", ""),
    "chip_lost": ("a chip no longer answers", "", ""),
    "chip_found": ("it answers again", "", ""),
    "exception": (
        "a step of the program failed and was skipped",
        "error number, if the file system failed",
        "error and place in the program",
    ),
    "settings_changed": ("", "", "the lines that were set"),
    "mark": ("button or host: mark this moment", "how long the button was held, ms", "the host's text"),
    "alarm": (
        "an alarm changed its state",
        "place x 4096 + level x 256 + old state x 16 + new state. Level: 0 warn, 1 act, 2 lost, 4 pressure too low for a limit, "
        "5 impossible pressure. State: 0 normal, 1 unacknowledged, 2 acknowledged, "
        "3 returned unacknowledged. Place: row of the board's limit tables; `channel` says which probe",
        '"needle" for the limit behind a carburettor\'s needle',
    ),
    "limits_loaded": ("a set of limits was loaded", "altitude they are made for, m", "made=unix seconds"),
    "ignition_on": ("", "", ""),
    "ignition_off": ("off for so long that it cannot be the starter's dip", "how long it has been off by now, ms", ""),
    "clock_set": ("by the host", "", "unix microseconds, decimal"),
    "store_recovered": ("the store of an earlier boot was opened", "bytes of its newest segment", ""),
    "store_full": ("only protected segments are left, or (0) there was no room to begin one", "number of segments", ""),
    "store_paused": ("all places near the cabin's temperature for half an hour: readings are not stored", "1 begins, 0 ends", ""),
    "low_voltage": ("the battery is low with the ignition off", "mV", ""),
    "sleep": ("the board goes to sleep until the ignition comes on", "supply, mV", ""),
    "chip_unsteady": (
        "a chip was lost and found too often to report each time; sent at most once a minute",
        "how often it was lost since the last event of this channel",
        "its present state",
    ),
    "fall_believed": (
        "a reading fell faster than its probe can and stayed low for 10 s: so far the alarm counted it as unreadable, from now on it uses it; "
        "a shorted lead reads like this",
        "the fall, hundredths of degC",
        "",
    ),
    "module_failed": (
        "a part (store, limits, power, settings, more_inputs, receiver) could not start; kept in flash and told to the next host",
        "boot count of the first boot that had it",
        "module, error and place in the program",
    ),
}

# command -> (argument, answer); text is UTF-8, numbers little-endian
COMMANDS = {
    "version": ("", "lines name=value: protocol, firmware, last_sequence"),
    "info": (
        "",
        "lines name=value: board_id, boot_count, reset_cause, uptime_ms, memory_free, barometer, attached, lost, failed; failure=: "
        "the last part that could not start, and when",
    ),
    "settings_get": ("name of a setting; nothing: all names", "name=value; all names with commas between"),
    "settings_set": ("lines name=value, taken as a whole or not at all", ""),
    "clock": ("unix microseconds as decimal text; nothing: only ask", "lines unix_us=, source="),
    "mark": ("text to keep with the mark", ""),
    "acknowledge": ("", ""),
    "warnings": (
        "one piece of a set of limit tables (hotfuel_wire/limit_tables.py), its head first; nothing: only ask",
        "made=none, or lines made=, altitude_m=, air_pa=, age_days=, fit=; nothing while pieces are missing",
    ),
    "identify": ("", ""),
    "service": ("", "text; the board then restarts at its prompt"),
    "segments": (
        "u16: how many of the oldest to skip; nothing: 0",
        "up to 32 times, oldest first: number u16, bytes u32, protected u8",
    ),
    "fetch": ("segment u16, offset u32", "nothing; the bytes come in a `data` message before the reply"),
    "forget": ("segment u16", ""),
    "selftest": (
        "chip N, rail, inputs, more (further inputs), store, lamp or buzzer",
        "lines name=value of that step; busy while the engine runs",
    ),
}


def from_event_value(value):
    """(place, level, old state, new state) of an alarm event's `value`: the inverse of alarm.event_value."""
    return value >> 12, (value >> 8 & 15) + 1, value >> 4 & 15, value & 15
