"""The one alarm state machine, run by board and host on the same vectors. Integers only; nothing is allocated while it runs undisturbed.

States after ISA-18.2 / IEC 62682: normal, unacknowledged, acknowledged, returned unacknowledged.
These words stay in code; lamp and screens say it plainly.

A place has three alarms. Warn: the margin is below its uncertainty. Act: the margin is used up. Lost: the place cannot be read.
Each comes on when its condition has held for ON_DELAY_MS, and goes only when the condition has been clear, beyond the deadband, for its off-delay.
While a place cannot be read its warn and act alarms stay as they are: not seeing the fuel is no evidence that it cooled.
"""

NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED_UNACKNOWLEDGED = 0, 1, 2, 3

WARN, ACT, LOST = 0, 1, 2
LEVELS = ("warn", "act", "lost")

# Margins are in hundredths of a degC. Stop-and-go traffic chatters at a deadband of 1 degC and not at 2 (own simulation);
# vapour lock builds within tens of seconds, so the minutes usual in process plants are too slow for the on-delay.
DEADBAND = 200
ON_DELAY_MS = 4000
OFF_DELAY_MS = 60000
LOST_OFF_DELAY_MS = 10000
# One step counts for at most this much quiet time: silence on the link is not evidence of cooling.
STEP_MAX_MS = 5000

NO_MARGIN = -0x3FFFFFFF  # the margin to pass when the place cannot be read

# What the lamp shows, least urgent first. A lost sensor never outranks a live warning or act.
SHOW_NOTHING, SHOW_LOST, SHOW_WARN, SHOW_ACT = 0, 1, 2, 3
_SHOWN_AS = (SHOW_WARN, SHOW_ACT, SHOW_LOST)


class Alarm:
    """One alarm of one place. `live`: its condition is on (delays applied)."""

    def __init__(self, off_delay_ms):
        self.state = NORMAL
        self.live = False
        self._off_delay_ms = off_delay_ms
        self._held_ms = -1  # for how long the condition for a change has held; -1: it does not hold

    def update(self, on, off, elapsed_ms):
        """`on`: the condition holds; `off`: it is clear beyond the deadband; neither: inside the deadband. True if the state changed."""
        if not (off if self.live else on):
            self._held_ms = -1
            return False
        if self._held_ms < 0:
            self._held_ms = 0
        else:
            self._held_ms += min(elapsed_ms, STEP_MAX_MS) if self.live else elapsed_ms
        if self._held_ms < (self._off_delay_ms if self.live else ON_DELAY_MS):
            return False
        self._held_ms = -1
        self.live = not self.live
        if self.live:
            self.state = UNACKNOWLEDGED
        else:
            self.state = NORMAL if self.state == ACKNOWLEDGED else RETURNED_UNACKNOWLEDGED
        return True

    def acknowledge(self):
        """True if the state changed."""
        if self.state == UNACKNOWLEDGED:
            self.state = ACKNOWLEDGED
        elif self.state == RETURNED_UNACKNOWLEDGED:
            self.state = NORMAL
        else:
            return False
        return True


class Alarms:
    """All places' alarms. `changed(place, level, old state, new state)` is called at every transition, in order.

    `first_out`: the place whose warn or act alarm came first since all were quiet, -1 none. `unseen`: something happened that nobody has
    looked at (the wink); only `seen()`, the button in the car, clears it.
    """

    def __init__(self, places, changed):
        self.places = [(Alarm(OFF_DELAY_MS), Alarm(OFF_DELAY_MS), Alarm(LOST_OFF_DELAY_MS)) for _ in range(places)]
        self.first_out = -1
        self.unseen = False
        self._changed = changed

    def update(self, place, margin, warn_below, elapsed_ms):
        """A new margin of `place` (hundredths of a degC, NO_MARGIN when it cannot be read), `elapsed_ms` after the place's last one.

        warn_below: the margin's uncertainty, hundredths of a degC.
        """
        alarms = self.places[place]
        lost = margin == NO_MARGIN
        self._step(place, LOST, alarms[LOST], lost, not lost, elapsed_ms)
        if lost:
            self._step(place, WARN, alarms[WARN], False, False, elapsed_ms)
            self._step(place, ACT, alarms[ACT], False, False, elapsed_ms)
        else:
            self._step(place, WARN, alarms[WARN], margin < warn_below, margin >= warn_below + DEADBAND, elapsed_ms)
            self._step(place, ACT, alarms[ACT], margin < 0, margin >= DEADBAND, elapsed_ms)

    def _step(self, place, level, alarm, on, off, elapsed_ms):
        old = alarm.state
        if not alarm.update(on, off, elapsed_ms):
            return
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
        """Quiets the sound, at host or board; the lamp goes on showing what is live, and the wink stays."""
        for place in range(len(self.places)):
            for level in (WARN, ACT, LOST):
                alarm = self.places[place][level]
                old = alarm.state
                if alarm.acknowledge():
                    self._changed(place, level, old, alarm.state)

    def seen(self):
        """The button in the car: someone has looked. Acknowledges, and clears the wink unless something is still live."""
        self.acknowledge()
        self.unseen = self.shown() != SHOW_NOTHING

    def shown(self, place=-1):
        """What the lamp shows for one place, or (-1) for the most urgent one: SHOW_NOTHING, SHOW_LOST, SHOW_WARN, SHOW_ACT."""
        most = SHOW_NOTHING
        for index in range(len(self.places)):
            if place in (-1, index):
                for level in (WARN, ACT, LOST):
                    if self.places[index][level].live and _SHOWN_AS[level] > most:
                        most = _SHOWN_AS[level]
        return most

    def sounding(self):
        """True while an act alarm is live and not acknowledged."""
        for alarms in self.places:
            if alarms[ACT].live and alarms[ACT].state == UNACKNOWLEDGED:
                return True
        return False


def event_value(place, level, old, new):
    """A transition as the `value` of an alarm event."""
    return place << 12 | level << 8 | old << 4 | new


def from_event_value(value):
    """(place, level, old state, new state) of an alarm event's `value`."""
    return value >> 12, value >> 8 & 15, value >> 4 & 15, value & 15
