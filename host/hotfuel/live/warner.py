"""The alarm beside a recording, said in sentences as it happens: for a recorder's `heard`. The same margins and the same state machine as everywhere."""

from collections.abc import Callable

from hotfuel_wire import alarm

from hotfuel.car import Car
from hotfuel.live.alarms import HostAlarms
from hotfuel.live.intake import Batch, Intake
from hotfuel.live.plain import place_label
from hotfuel.risk.level import Level, is_beyond, least
from hotfuel.risk.margin import PlaceMargin
from hotfuel.temperature.calibration import Calibration
from hotfuel.text import directed
from hotfuel.units import Shown, expanded

_COMES = {
    Level.WARN: "warning: {place} is {margin}, give or take {uncertainty}, 95 % (now {temperature}, limit {limit})",
    Level.ACT: "ACT: {place} is {margin}, give or take {uncertainty}, 95 % (now {temperature}, limit {limit})",
    Level.LOST: "sensor lost: {place} cannot be read",
    Level.LOW_PRESSURE: "ACT: {place}: the pressure is too low for a limit ({least} absolute); take it as boiling",
    Level.IMPOSSIBLE_PRESSURE: "ACT: {place}: impossible pressure, so there is no limit: check the car file",
}
_GOES = {
    Level.WARN: "{place}: the warning is over",
    Level.ACT: "{place}: back below its limit",
    Level.LOST: "{place}: can be read again",
    Level.LOW_PRESSURE: "{place}: there is a limit again",
    Level.IMPOSSIBLE_PRESSURE: "{place}: there is a limit again",
}


class Warner:
    """say: gets a sentence at each alarm that comes or goes. Raises InputError for a fuel that is not covered."""

    def __init__(self, car: Car, shown: Shown, say: Callable[[str], None], calibration: Calibration | None = None) -> None:
        self._shown, self._say = shown, say
        self._intake = Intake(car, car.fuel(), calibration)
        self._intake.prepare()
        self._alarms = HostAlarms(car)
        self._alarms.turned = self._turned
        self._told: list[tuple[int, str, int, int]] = []  # row, place, level, new state

    def hear(self, payloads: list[bytes]) -> None:
        """Payloads as they arrive."""
        for item in self._intake.take(payloads):
            if isinstance(item, Batch):
                self._told.clear()
                self._alarms.update(item.seconds, item.margins, item.inputs["running"], item.inputs["engine_rpm"])
                for row, place, level, new in sorted(self._told, key=lambda told: told[0]):
                    self._tell(item.margins[place], row, place, level, new)

    def acknowledge(self) -> None:
        """Quiets the host's own alarms."""
        self._alarms.acknowledge()

    def _turned(self, place: str, level: int, new: int) -> None:
        if new != alarm.ACKNOWLEDGED:
            self._told.append((self._alarms.row, place, level, new))

    def _tell(self, here: PlaceMargin, row: int, place: str, level: int, new: int) -> None:
        """One alarm, with what was read as it came or went."""
        sentence = (_COMES if new == alarm.UNACKNOWLEDGED else _GOES)[Level(level)]
        margin_degc = float(here.margin_degc[row])
        size = self._shown.text(abs(margin_degc), "temperature difference", 0)
        ahead = level == Level.ACT and not is_beyond(margin_degc)  # an alarm looks a little ahead of a rise
        room = "at" if ahead else directed(size, "beyond" if is_beyond(margin_degc) else "below", "at")
        self._say(
            sentence.format(
                place=place_label(place),
                least=least(self._shown),
                margin=f"{room} its limit",
                uncertainty=self._shown.text(float(expanded(here.uncertainty_degc[row])), "temperature difference", 0),
                temperature=self._shown.text(float(here.temperature_degc[row]), "temperature", 0),
                limit=self._shown.text(float(here.limit_degc[row]), "temperature", 0),
            )
        )
