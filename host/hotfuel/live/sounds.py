"""Which alarms sound and which were quieted, shared by all browsers and terminals.

Two patterns told apart by rhythm, see sound.js: "act" where a limit is passed, "heed" for a warning and for a place that cannot be read while it is
warned of. Quieting holds for the places and states that sound at that moment; a new place, or a worse state of the same, sounds again.
"""

from typing import Any

ACT_SOUND, HEED_SOUND = "act", "heed"
_RANK = {"warn": 0, "lost": 1, "act": 2}


def alarms(panel: dict[str, Any]) -> dict[str, str]:
    """Place -> "act", "warn", or "lost" for one that cannot be read while it is warned of. What has recovered does not sound."""
    if not panel["live"]:
        return {}
    found = {}
    for place in panel["places"]:
        if place["key"] in ("act", "warn"):
            found[place["place"]] = "lost" if place["lost"] and place["key"] == "warn" else place["key"]
    return found


class Quieting:
    """Which alarms were quieted, and when."""

    def __init__(self) -> None:
        self._quiet: dict[str, tuple[str, str]] = {}  # place -> (state that was quieted, time)
        self.now: dict[str, str] = {}

    def update(self, panel: dict[str, Any]) -> None:
        """Take a new panel. A place that no longer sounds is forgotten, so that its next alarm sounds."""
        self.now = alarms(panel)
        warned = {place["place"] for place in panel["places"] if place["key"] in ("act", "warn", "back")}
        self._quiet = {place: kept for place, kept in self._quiet.items() if place in warned}

    def quiet(self, place: str, time: str) -> bool:
        """Quiet one place, or all (""). True if nothing sounds any more."""
        for name, state in self.now.items():
            if place in ("", name):
                self._quiet[name] = (state, time)
        return not self.sound()

    def quieted(self, place: str) -> str:
        """When the alarm of a place was quieted, "" if it sounds or there is none."""
        state = self.now.get(place)
        kept, time = self._quiet.get(place, ("", ""))
        return time if state and kept and _RANK[kept] >= _RANK[state] else ""

    def sound(self) -> str:
        """The pattern that is due, "" for none."""
        loud = [state for place, state in self.now.items() if not self.quieted(place)]
        return "" if not loud else ACT_SOUND if "act" in loud else HEED_SOUND

    def told(self) -> dict[str, Any]:
        """{"pattern", "places": {place: when quieted or ""}} for a browser."""
        return {"pattern": self.sound(), "places": {place: self.quieted(place) for place in self.now}}
