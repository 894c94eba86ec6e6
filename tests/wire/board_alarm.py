# Runs on every interpreter: replays alarm_vectors.jsonl and prints every line whose outcome differs, then the count. A line with
# a limit holds readings instead of margins: they go through a Probe first, and the number believed and the falls it reported are
# part of the outcome.
import json


def outcome(row, alarm, probe):
    """What the two modules make of one line."""
    got = []
    at = [0]
    alarms = alarm.Alarms(row["places"], lambda place, level, old, new: got.append([at[0], place, alarm.LEVELS[level], old, new]))
    one = probe.Probe(row["lag_ms"]) if "limit" in row else None
    believed = 0
    falls = []
    number = 0
    for step, times in row["steps"]:
        for _ in range(times):
            at[0] = number
            number += 1
            if step == "acknowledge":
                alarms.acknowledge()
            elif step == "seen":
                alarms.seen()
            else:
                place, margin, warn_below, elapsed_ms = step
                if one:
                    reading = probe.UNREADABLE if margin is None else margin
                    taken = one.take(reading, elapsed_ms)
                    margin = row["limit"] - reading - probe.ahead(one.leading.lead) if taken else None
                    believed += margin is not None
                    if one.fell:
                        falls.append([at[0], one.fell])
                alarms.update(place, alarm.UNREADABLE if margin is None else margin, warn_below, elapsed_ms)
    ended = [got, alarms.first_out, alarms.unseen, alarms.shown(), alarms.sounding()]
    return ended + [believed, falls] if one else ended


if __name__ == "__main__":
    from hotfuel_wire import alarm, probe

    count = 0
    with open("alarm_vectors.jsonl") as file:
        for line in file:
            row = json.loads(line)
            found = outcome(row, alarm, probe)
            if found != row["outcome"]:
                print("differs:", row["name"], found)
            count += 1
    print("replayed %d" % count)
