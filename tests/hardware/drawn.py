"""What a drawn circuit connects: the traced leads of a sheet, and the nets assigned to them from the netlist's parts.

Leads join where one ends on another, and at dots. The net of a lead follows from named points on it (rails, ground, pins), then
from part to part: a resistor with SENSE at one end and one more net in the netlist has that one at its other end.
"""

import itertools


def _on(point, segment):
    (x, y), ((x1, y1), (x2, y2)) = point, segment
    inside = min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)
    return inside and abs((x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)) < 1e-6


def _touches(leads, point):
    return [number for number, lead in enumerate(leads) if any(_on(point, segment) for segment in itertools.pairwise(lead))]


def joined(leads, dots, points, keys=()):
    """The group of each lead, then of each point: connected ones have the same number. keys: one a point; points with the same
    key are the same point, however often drawn."""
    parent = list(range(len(leads) + len(points)))

    def find(one):
        while parent[one] != one:
            one = parent[one]
        return one

    def join(numbers):
        for other in numbers[1:]:
            parent[find(other)] = find(numbers[0])

    for number, lead in enumerate(leads):
        for end in (lead[0], lead[-1]):
            join([number, *_touches(leads, end)])
    for dot in dots:
        join(_touches(leads, dot))
    for number, point in enumerate(points):
        join([len(leads) + number, *_touches(leads, point)])
        join([len(leads) + other for other, place in enumerate(points) if place == point])
    for number, key in enumerate(keys):
        join([len(leads) + number, *(len(leads) + other for other, same in enumerate(keys) if key and same == key)])
    return [find(one) for one in range(len(parent))]


def along_each_other(leads, groups):
    """Pairs of leads of two groups that overlap along a horizontal or vertical line: drawn as a short."""
    lines = {}
    for lead, group in zip(leads, groups, strict=False):
        for (x1, y1), (x2, y2) in itertools.pairwise(lead):
            if x1 == x2 or y1 == y2:
                line = ("x", x1) if x1 == x2 else ("y", y1)
                lines.setdefault(line, []).append((min(x1 + y1, x2 + y2), max(x1 + y1, x2 + y2), group, lead))
    for here in lines.values():
        for (low, high, one, first), (other_low, other_high, other, second) in itertools.combinations(here, 2):
            if one != other and max(low, other_low) < min(high, other_high):
                yield first, second


def complaints(sheet, parts, from_the_car):
    """One sentence for everything drawn differently from the netlist. sheet: pen.Sheet; parts, from_the_car: the netlist's."""
    ends = [(mark, pin, at) for mark, pins, places in sheet.ends for pin, at in zip(pins, places, strict=True)]
    points = [at for at, _ in sheet.named] + [at for _, _, at in ends]
    keys = [None for _ in sheet.named] + [(mark, pin) if pin else None for mark, pin, _ in ends]
    groups = joined(sheet.leads, sheet.dots, points, keys)
    of_points = groups[len(sheet.leads) :]
    of_ends = of_points[len(sheet.named) :]
    known, wrong = {}, []

    def put(group, net, why):
        if known.setdefault(group, net) != net:
            wrong.append(f"{why} is joined to {known[group]}; it belongs on {net}")

    for group, (at, net) in zip(of_points, sheet.named, strict=False):
        put(group, net, f"{net} at {at}")
    alike = {}
    for group, (mark, pin, _) in zip(of_ends, ends, strict=True):
        if pin:
            put(group, parts[mark].pins[pin], f"{mark}.{pin}")
        else:
            alike.setdefault(mark, []).append(group)
    for _ in alike:  # propagate from part to part until nothing changes
        for mark, pair in alike.items():
            nets = list(parts[mark].pins.values())
            for here, there in (pair, pair[::-1]):
                if known.get(here) in nets and there not in known:
                    nets.remove(known[here])
                    known[there] = nets[0]
    for mark, pair in alike.items():
        here, wanted = sorted(str(known.get(group)) for group in pair), sorted(parts[mark].pins.values())
        if here != wanted:
            wrong.append(f"{mark} is drawn between {here[0]} and {here[1]}; it belongs between {wanted[0]} and {wanted[1]}")

    reached = {}
    for group, (mark, _, _) in zip(of_ends, ends, strict=True):
        reached.setdefault(mark, set()).add(known.get(group))
    lines = [(lead, {known.get(group)}) for lead, group in zip(sheet.leads, groups, strict=False)]
    lines += [(lead, set(nets)) for lead, nets in sheet.bundles]
    lines += [((at, at), {net}) for at, net in sheet.named]
    for mark, left, top, right, bottom in sheet.outlines:
        for lead, nets in lines:
            for x, y in (lead[0], lead[-1]):
                if _at_edge((x, y), (left, top, right, bottom)):
                    reached.setdefault(mark, set()).update(nets)
                    wrong += [
                        f"{net} is drawn to {mark}, which has no pin on it"
                        for net in sorted(map(str, nets - set(parts[mark].pins.values())))
                    ]
    for mark, part in parts.items():
        wrong += [f"{net} is not drawn to {mark}" for net in sorted(set(part.pins.values()) - reached.get(mark, set()))]
    wrong += [f"the lead {lead} is on no net" for lead, group in zip(sheet.leads, groups, strict=False) if group not in known]
    drawn = set(known.values()) | {net for _, nets in sheet.bundles for net in nets}
    wrong += [
        f"{net} is not drawn"
        for net in sorted({*from_the_car, *(net for part in parts.values() for net in part.pins.values())} - drawn)
    ]
    wrong += [
        f"leads of two nets run along each other: {first} and {second}" for first, second in along_each_other(sheet.leads, groups)
    ]
    edges = [outline[1:] for outline in sheet.outlines]
    held = set(groups[: len(sheet.leads)]) | set(of_ends)
    for group, (at, net) in zip(of_points, sheet.named, strict=False):
        if group not in held and not any(_at_edge(at, edge) for edge in edges):
            wrong.append(f"the sign {net} at {at} is at no lead")
    # a lead labelled with its net's name need not be connected to the rest of the net
    by_name = set(of_points[: len(sheet.named)])
    for net in sorted(set(known.values())):
        pieces = {group for group in groups if known.get(group) == net}
        if len(pieces) > 1 and pieces - by_name:
            wrong.append(f"{net} is drawn in {len(pieces)} pieces, {len(pieces - by_name)} of them without its name")
    return wrong


def _at_edge(point, edge):
    (x, y), (left, top, right, bottom) = point, edge
    return (x in (left, right) and top <= y <= bottom) or (y in (top, bottom) and left <= x <= right)
