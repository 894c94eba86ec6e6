# Run on MicroPython or CPython: board_selftest.py ROOT FOLDER. One JSON object of answers on standard error.

import json
import sys

root, folder = sys.argv[1:3]
sys.path.insert(0, root + "/tests/firmware")
import rig

rig.arrange(root)
made = rig.Rig(("MAX31856", "MAX31856", None))
import application

app = application.Application(folder)
made.run(app.step, 3)
import selftest
from commands import Refused


def ask(step):
    try:
        return selftest.run(app, step).decode()
    except Refused as refused:
        return "%s: %s" % (refused.args[0], refused.args[1])


found = {}
for step in ("chip 0", "chip 1", "inputs", "store", "lamp", "chip 9", "chip", "nonsense"):
    found[step] = ask(step)
found["running again"] = app.sampler._running
made.hold("select_0", 1)  # a module's pull-up, and a chip that is never selected
made.chips[0].set_fault("gone", True)
found["never selected"] = ask("chip 0")
made.hold("select_0", None)
found["silent"] = ask("chip 0")
made.chips[0].set_fault("gone", False)
made.run(app.step, 2)
app.inputs.pulses_ms = app.clock.now()
found["engine"] = ask("chip 0")
app.inputs.pulses_ms = None
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import COMMANDS

values = {"tick": 0, "time_ms": 0, "sequence": 5, "code": COMMANDS["selftest"], "argument": b"store"}
app.commands.receive(framing.encode(codec.pack("command", values)))
found["let go"] = "selftest" not in sys.modules
found["outcome"] = app.commands._last_reply["outcome"]
found["folder"] = sorted(__import__("os").listdir(folder or "."))
sys.stderr.write(json.dumps(found))
