# Runs on every interpreter: replays alarm_vectors.jsonl and prints every line whose outcome differs, then the count.
import json

from hotfuel_wire import alarm

count = 0
with open("alarm_vectors.jsonl") as file:
    for line in file:
        row = json.loads(line)
        got = []
        at = [0]
        alarms = alarm.Alarms(
            row["places"], lambda place, level, old, new: got.append([at[0], place, alarm.LEVELS[level], old, new])
        )
        for number, step in enumerate(row["steps"]):
            at[0] = number
            if step == "acknowledge":
                alarms.acknowledge()
            elif step == "seen":
                alarms.seen()
            else:
                place, margin, warn_below, elapsed_ms = step
                alarms.update(place, alarm.NO_MARGIN if margin is None else margin, warn_below, elapsed_ms)
        outcome = [got, alarms.first_out, alarms.unseen, alarms.shown(), alarms.sounding()]
        if outcome != row["outcome"]:
            print("differs:", row["name"], outcome)
        count += 1
print("replayed %d" % count)
