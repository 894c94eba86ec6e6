"""A short drive of the simulated car as a session, for comparisons."""

from dataclasses import replace

from driven import Driven
from hotfuel.simulator.drives import Phase as Part
from hotfuel.simulator.scenarios import PROBES, scenarios

SHORT = (Part("drive", 4.0, "cruise", 64.0), Part("queue", 2.0, "idle"), Part("hot soak", 4.0, "off"))
# Probes along the flow: one inserted 10 mm across it is heated or cooled by its own stem once the fuel stands.
ALONG = tuple(replace(fitted, probe=PROBES[1].probe, error_degc=0.0) for fitted in PROBES)
SAME_DAY = replace(scenarios()["as built"], drive=SHORT, variation=0.0, probes=ALONG)
SLEEVED = replace(SAME_DAY, fixes=scenarios()["sleeved line"].fixes)
AMBIENT = {"ambient_degc": 30.0}


def session(scenario=SAME_DAY, name="a", metadata=AMBIENT, **more):
    return Driven(scenario, name=name, metadata=metadata, **more)
