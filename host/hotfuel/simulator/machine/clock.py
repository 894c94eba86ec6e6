"""The simulated board's time. It moves when the program asks for it, waits, or talks to a chip; timers that fell due by then run one after the other,
between two calls of the program, as MicroPython's scheduler does.

Times are microseconds since power on and never wrap; what the program sees wraps as on the rp2 port (time.py's part). The clock goes no further than
`granted_us`: then `ask_for_more` waits for the host, which owns the time of the whole simulation.
"""

QUEUE_LENGTH = 8  # the rp2 port's MICROPY_SCHEDULER_DEPTH: callbacks that wait beyond that are lost, without a word
NEVER = 1 << 60


class Reset(SystemExit):
    """The board resets. A SystemExit, so that a program that catches every Exception does not stop it."""


class Alarm:
    """Something that is due at `due_us`. Subclasses: timers, the watchdog."""

    due_us = NEVER

    def fire(self):
        raise NotImplementedError


class Clock:
    def __init__(self):
        self.start()

    def start(self):
        self.now_us = 0
        self.granted_us = NEVER
        self.ask_for_more = None  # function(clock): returns when granted_us has grown, or ends the program
        self.callbacks_lost = 0
        self.on_exception = None  # function(exception): what the port prints when a callback raises
        self._limit_us = NEVER  # before this moment nothing is due and nothing has to be asked for
        self._alarms = []
        self._waiting = []  # callbacks whose turn has not come: (function, argument)
        self._running = False
        self._held = 0

    def spend(self, us):
        """Let `us` microseconds pass."""
        now_us = self.now_us + us
        if now_us < self._limit_us:
            self.now_us = now_us
        else:
            self._pass_until(now_us)

    def pause(self, longest_us):
        """Let time pass until the next alarm, at most `longest_us`."""
        until_us = self.now_us + longest_us
        due_us = self._next_due_us()
        self._pass_until(until_us if until_us < due_us else max(due_us, self.now_us + 1))

    def stop_world(self, us):
        """Time passes with interrupts off (a flash erase): what falls due meanwhile is queued, and its callbacks run when the program goes on."""
        self.hold()
        self._pass_until(self.now_us + us)
        self.release()

    def hold(self):
        """Interrupts off."""
        self._held += 1

    def release(self):
        """Interrupts on again; what waits runs at the program's next call."""
        self._held -= 1
        self._limit_us = 0

    def schedule(self, function, argument):
        """Queue a soft callback; False (and counted) when the queue is full."""
        if len(self._waiting) >= QUEUE_LENGTH:
            self.callbacks_lost += 1
            return False
        self._waiting.append((function, argument))
        self._limit_us = 0
        return True

    def add(self, alarm):
        if alarm not in self._alarms:
            self._alarms.append(alarm)
        self._limit_us = 0

    def remove(self, alarm):
        if alarm in self._alarms:
            self._alarms.remove(alarm)

    def grant(self, until_us):
        self.granted_us = until_us
        self._limit_us = 0

    def _next_due_us(self):
        due_us = NEVER
        for alarm in self._alarms:
            if alarm.due_us < due_us:
                due_us = alarm.due_us
        return due_us

    def _next_alarm(self):
        first = None
        for alarm in self._alarms:
            if first is None or alarm.due_us < first.due_us:
                first = alarm
        return first

    def _pass_until(self, until_us):
        self._run_waiting()
        while True:
            alarm = self._next_alarm()
            due = alarm is not None and alarm.due_us <= until_us
            target_us = alarm.due_us if due else until_us
            if target_us > self.granted_us:
                self.ask_for_more(self)
                continue  # what comes may bring alarms of its own
            if target_us > self.now_us:
                self.now_us = target_us
            if not due:
                break
            alarm.fire()
            self._run_waiting()
        # The program's next call goes the short way while nothing can happen before it.
        due_us = self._next_due_us()
        self._limit_us = 0 if self._waiting and not self._running else (due_us if due_us < self.granted_us else self.granted_us)

    def _run_waiting(self):
        if self._running or self._held:
            return
        self._running = True
        # Only those waiting now. What they schedule runs at the program's next call, so that a slow callback cannot block the program for ever.
        for _ in range(len(self._waiting)):
            function, argument = self._waiting.pop(0)
            try:
                function(argument)
            except Exception as error:  # the port prints it and continues
                if self.on_exception is not None:
                    self.on_exception(error)
        self._running = False


clock = Clock()  # the one clock of this board
