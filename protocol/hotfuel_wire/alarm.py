"""The one alarm state machine, run by board and host on the same vectors. Integers only; allocates nothing unless an alarm changes state.

States after ISA-18.2 / IEC 62682: normal, unacknowledged, acknowledged, returned unacknowledged.
These terms are used in code only; lamp and screens use plain words.

A place has five alarms. Warn: the margin is below its uncertainty. Act: the margin is below zero. Lost: the place cannot be read. Low pressure and
impossible pressure: there is no limit, and this is the reason; warn and act are then both on too.
Warn and act turn on when their condition has held for ON_DELAY_MS and off when it has been clear, beyond the deadband, for OFF_DELAY_MS.
An unreadable tick proves nothing: it pauses these timers, adds none of its time and does not reset an on-timer, so a loose plug cannot silence a warning.
Nor can it end one: after BLIND_MS without a readable tick, or once the place is lost, the off-timers restart.
Lost counts unreadable time: it turns on at LOST_MS of the last WINDOW_MS and off below FOUND_MS. It never delays act.
"""

NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED_UNACKNOWLEDGED = 0, 1, 2, 3

# Levels of a place: one numbering on board, host and in stored columns, append only. On the wire an event carries the level minus one.
QUIET, WARN, ACT, LOST, NO_MARGIN, LOW_PRESSURE, IMPOSSIBLE_PRESSURE = 0, 1, 2, 3, 4, 5, 6
LEVELS = ("quiet", "warn", "act", "lost", "no margin", "low pressure", "impossible pressure")
ALARMS = (WARN, ACT, LOST, LOW_PRESSURE, IMPOSSIBLE_PRESSURE)
# by level; a lost sensor never outranks a live warning; the reason for a missing limit outranks act, which is on with it
URGENCY = (0, 2, 3, 1, 0, 4, 5)

# Margins are in hundredths of a degC. Stop-and-go traffic chatters at a deadband of 1 degC and not at 2 (own simulation);
# vapour lock builds within tens of seconds, so the minutes usual in process plants are too slow for the on-delay.
DEADBAND = 200
ON_DELAY_MS = 4000
OFF_DELAY_MS = 60000
BLIND_MS = 5000
# Lost at 40 % of the last 8 s, found below 20 %; not before ON_DELAY_MS after the first unreadable tick, so a dead probe is lost after 4 s.
WINDOW_MS = 8000
LOST_MS = 3200
FOUND_MS = 1600
LOST_OFF_DELAY_MS = 10000
# One step counts for at most this much clear time: silence on the link is not evidence of cooling.
STEP_MAX_MS = 5000

# A slow chip has no new conversion at some ticks: the caller skips those, and treats a chip without one for longer than this as unreadable.
WAIT_MS = 2000
_TICK_MS = 2000  # one unreadable tick counts for at most this much time: a gap in the data is not a dead probe
PIECE_MS = 500
_PIECES = WINDOW_MS // PIECE_MS

UNREADABLE = -0x3FFFFFFF  # the margin to pass when the place cannot be read
# Pressure too low for a limit, or impossible: over the limit at any temperature. Numbers above NO_NUMBER are margins.
TOO_LOW, IMPOSSIBLE, NO_NUMBER = -0x3FFFFFFE, -0x3FFFFFFD, -0x3FFFFFF0


class Alarm:
    """One alarm of one place. `live`: its condition is on (delays applied)."""

    def __init__(self, on_delay_ms, off_delay_ms):
        self.state = NORMAL
        self.live = False
        self._on_delay_ms = on_delay_ms
        self._off_delay_ms = off_delay_ms
        self._held_ms = -1  # how long the condition for a change has held; -1: it does not hold

    def update(self, on, off, elapsed_ms):
        """`on`: the condition holds; `off`: it is clear beyond the deadband; neither: inside the deadband. True if the state changed."""
        if not (off if self.live else on):
            self._held_ms = -1
            return False
        if self._held_ms < 0:
            self._held_ms = 0
        else:
            self._held_ms += min(elapsed_ms, STEP_MAX_MS) if self.live else elapsed_ms
        if self._held_ms < (self._off_delay_ms if self.live else self._on_delay_ms):
            return False
        self._held_ms = -1
        self.live = not self.live
        if self.live:
            self.state = UNACKNOWLEDGED
        else:
            self.state = NORMAL if self.state == ACKNOWLEDGED else RETURNED_UNACKNOWLEDGED
        return True

    def stay_on(self):
        """Resets the off-timer."""
        if self.live:
            self._held_ms = -1

    @property
    def waiting(self):
        """True while a timer runs or is paused."""
        return self._held_ms >= 0

    def acknowledge(self):
        """True if the state changed."""
        if self.state == UNACKNOWLEDGED:
            self.state = ACKNOWLEDGED
        elif self.state == RETURNED_UNACKNOWLEDGED:
            self.state = NORMAL
        else:
            return False
        return True


class Sight:
    """How much of a place's last WINDOW_MS was unreadable (`unreadable_ms`), how long it has been unreadable without a break (`blind_ms`), and how long
    the window has held any unreadable time (`trouble_ms`).

    The window advances by half a second, so it is 7.5 to 8 s long.
    """

    def __init__(self):
        self.unreadable_ms = 0
        self.blind_ms = 0
        self.trouble_ms = 0
        self._pieces = [0] * _PIECES
        self._piece = 0
        self._into_ms = 0

    def step(self, unreadable, elapsed_ms):
        """One tick, `elapsed_ms` after the last."""
        self._into_ms += min(elapsed_ms, WINDOW_MS)
        while self._into_ms >= PIECE_MS:
            self._into_ms -= PIECE_MS
            self._piece = (self._piece + 1) % _PIECES
            self.unreadable_ms -= self._pieces[self._piece]
            self._pieces[self._piece] = 0
        self.trouble_ms = min(self.trouble_ms + elapsed_ms, 2 * ON_DELAY_MS) if self.unreadable_ms else 0
        if unreadable:
            if not self.unreadable_ms:
                self._into_ms = 0  # so that the same fault counts the same whatever came before
            counted_ms = min(elapsed_ms, _TICK_MS)
            self._pieces[self._piece] += counted_ms
            self.unreadable_ms += counted_ms
            self.blind_ms = min(self.blind_ms + elapsed_ms, 2 * BLIND_MS)
        else:
            self.blind_ms = 0


class Alarms:
    """All places' alarms. `changed(place, level, old state, new state)` is called at every transition, in order.

    `first_out`: the place whose warn or act alarm came first since all were quiet, -1 none. `unseen`: an alarm has come since the button in the car was
    last pressed (the lamp winks); only `seen()`, the button, clears it.
    """

    def __init__(self, places, changed):
        self.places = [
            {level: Alarm(0, LOST_OFF_DELAY_MS) if level == LOST else Alarm(ON_DELAY_MS, OFF_DELAY_MS) for level in ALARMS}
            for _ in range(places)
        ]
        self.sights = [Sight() for _ in range(places)]
        self._at_rest = [True] * places  # nothing is live and no timer runs
        self._most = QUIET  # the most urgent of all places, cached: the board reads it in every pass of its main loop
        self.first_out = -1
        self.unseen = False
        self._changed = changed

    def update(self, place, margin, warn_below, elapsed_ms):
        """A new margin of `place` (hundredths of a degC, UNREADABLE, TOO_LOW or IMPOSSIBLE), `elapsed_ms` after the place's last one.

        warn_below: the margin's uncertainty, hundredths of a degC.
        """
        alarms = self.places[place]
        sight = self.sights[place]
        unreadable = margin == UNREADABLE
        if unreadable or sight.unreadable_ms:  # else the window is empty and stays empty
            sight.step(unreadable, elapsed_ms)
        elif self._at_rest[place] and margin > warn_below and margin > 0:
            return  # nothing can start and no timer runs
        gone_ms = sight.unreadable_ms
        lost = gone_ms >= LOST_MS and sight.trouble_ms >= ON_DELAY_MS
        self._step(place, LOST, alarms[LOST], lost, gone_ms < FOUND_MS, elapsed_ms)
        if not unreadable:
            self._step(place, WARN, alarms[WARN], margin < warn_below, margin >= warn_below + DEADBAND, elapsed_ms)
            self._step(place, ACT, alarms[ACT], margin < 0, margin >= DEADBAND, elapsed_ms)
            low, none = margin == TOO_LOW, margin == IMPOSSIBLE
            self._step(place, LOW_PRESSURE, alarms[LOW_PRESSURE], low, not low, elapsed_ms)
            self._step(place, IMPOSSIBLE_PRESSURE, alarms[IMPOSSIBLE_PRESSURE], none, not none, elapsed_ms)
        if alarms[LOST].live or sight.blind_ms > BLIND_MS:
            for level in ALARMS:
                if level != LOST:
                    alarms[level].stay_on()
        rest = True
        for level in ALARMS:
            if alarms[level].live or alarms[level].waiting:
                rest = False
        self._at_rest[place] = rest

    def _step(self, place, level, alarm, on, off, elapsed_ms):
        old = alarm.state
        if not alarm.update(on, off, elapsed_ms):
            return
        self._most = self._live(range(len(self.places)))
        if alarm.live:
            self.unseen = True
            if level != LOST and self.first_out < 0:
                self.first_out = place
        elif level != LOST and not self._hot():
            self.first_out = -1
        self._changed(place, level, old, alarm.state)

    def _hot(self):
        for alarms in self.places:
            if alarms[WARN].live or alarms[ACT].live:
                return True
        return False

    def acknowledge(self):
        """Silences the sound, from host or board; the lamp still shows live alarms and keeps winking."""
        for place in range(len(self.places)):
            for level in ALARMS:
                alarm = self.places[place][level]
                old = alarm.state
                if alarm.acknowledge():
                    self._changed(place, level, old, alarm.state)

    def seen(self):
        """The button in the car was pressed. Acknowledges, and clears the wink unless an alarm is still live."""
        self.acknowledge()
        self.unseen = self.shown() != QUIET

    def shown(self, place=-1):
        """The most urgent level that is live, of one place or (-1) of all; QUIET if none is."""
        return self._most if place < 0 else self._live((place,))

    def _live(self, places):
        most = QUIET
        for place in places:
            for level in ALARMS:
                if self.places[place][level].live and URGENCY[level] > URGENCY[most]:
                    most = level
        return most

    def sounding(self):
        """True while an act alarm is live and not acknowledged."""
        if self._most == QUIET:
            return False
        for alarms in self.places:
            if alarms[ACT].live and alarms[ACT].state == UNACKNOWLEDGED:
                return True
        return False


def event_value(place, level, old, new):
    """A transition as the `value` of an alarm event."""
    return place << 12 | level - 1 << 8 | old << 4 | new
