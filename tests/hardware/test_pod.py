"""The pod's inner board: every pin is on the copper of its net, clearances are kept, everything fits inside, and the copper for
heat is as in the thermal models."""

import itertools

import pytest


def within(point, rectangle, edge=0.0):
    (x, y), (x0, y0, x1, y1) = point, rectangle
    return x0 + edge <= x <= x1 - edge and y0 + edge <= y <= y1 - edge


def nets_under(pod, point, edge=0.5):
    return [net for net, pieces in pod.ISLANDS.items() if any(within(point, piece, edge) for piece in pieces)]


def apart(one, other):
    dx = max(one[0] - other[2], other[0] - one[2], 0.0)
    dy = max(one[1] - other[3], other[1] - one[3], 0.0)
    return (dx * dx + dy * dy) ** 0.5


def test_every_pin_is_on_the_copper_of_its_net(hardware):
    netlist, pod = hardware.netlist, hardware.pod
    for mark, (pins, _) in pod.PARTS.items():
        assert set(pins) == set(netlist.PARTS[mark].pins)
        for pin, point in pins.items():
            assert nets_under(pod, point) == [netlist.PARTS[mark].pins[pin]], (mark, pin)
    for name, net, point in pod.LEADS:
        assert nets_under(pod, point) == [net], name


def test_the_board_and_its_leads_make_the_pods_circuit(hardware):
    netlist, pod = hardware.netlist, hardware.pod
    in_pod = {mark for mark, part in netlist.PARTS.items() if part.place == "pod"}
    assert set(pod.PARTS) == in_pod - {"R1", "F2"}, "on the wall, with F2 on R1"
    nets = {net for mark in in_pod for net in netlist.PARTS[mark].pins.values()}
    assert set(pod.ISLANDS) == nets - {"VT"}, "F2's lead goes straight to R1"
    leaves = {net for mark, part in netlist.PARTS.items() if mark not in pod.PARTS for net in part.pins.values()}
    assert {net for _, net, _ in pod.LEADS} == set(pod.ISLANDS) & leaves


def test_copper_keeps_its_clearance(hardware):
    box, pod = hardware.box, hardware.pod
    pieces = [(net, piece) for net, found in pod.ISLANDS.items() for piece in found]
    for (net, one), (other_net, other) in itertools.combinations(pieces, 2):
        if net != other_net:
            assert apart(one, other) >= pod.GAP_MM, (net, other_net)
    for name in ("board a", "board b"):
        x, y, across = next((x, y, across) for _, hole, x, y, across, _ in box.HOLES if hole == name)
        hole = (x - pod.BOARD_AT[0], y - pod.BOARD_AT[1])
        ring = (hole[0] - across / 2, hole[1] - across / 2, hole[0] + across / 2, hole[1] + across / 2)
        assert within(hole, (0, 0, *pod.BOARD), across / 2 + 1), name
        assert all(apart(ring, piece) >= 1.0 for _, piece in pieces), name


def test_bodies_are_on_the_board_and_do_not_overlap(hardware):
    pod = hardware.pod
    for mark, (_, body) in pod.PARTS.items():
        assert within(body[:2], (0, 0, *pod.BOARD)) and within(body[2:], (0, 0, *pod.BOARD)), mark
    for (one, (_, a)), (other, (_, b)) in itertools.combinations(pod.PARTS.items(), 2):
        assert apart(a, b) > 0, (one, other)
    for (mark, (_, body)), (name, _, point) in itertools.product(pod.PARTS.items(), pod.LEADS):
        assert not within(point, body, -1.0), (mark, name)


def test_board_r1_and_glands_fit_the_pod(hardware):
    box, pod = hardware.box, hardware.pod
    width, height = box.FACES["pod, wall"]
    (x, y), (long, high) = pod.R1_AT, pod.R1_MM
    r1 = (x - long / 2 - pod.TERMINAL_MM, y - high / 2, x + long / 2 + pod.TERMINAL_MM, y + high / 2)
    board = (*pod.BOARD_AT, pod.BOARD_AT[0] + pod.BOARD[0], pod.BOARD_AT[1] + pod.BOARD[1])
    for one in (r1, board):
        assert one[0] >= 1.5 and one[2] <= width - 1.5
        assert one[1] >= 1.5 and one[3] <= height - 1.5
    assert apart(r1, board) >= 1.5
    assert board[0] >= 10.0, "the glands' nuts are inside the left end"
    holes = {name: (hx, hy) for face, name, hx, hy, *_ in box.HOLES if face == "pod, wall"}
    middle = [(holes["R1 a"][i] + holes["R1 b"][i]) / 2 for i in (0, 1)]
    assert middle == pytest.approx(pod.R1_AT)
    assert abs(holes["R1 b"][0] - holes["R1 a"][0]) == 40 and abs(holes["R1 b"][1] - holes["R1 a"][1]) == 21


def test_the_copper_for_heat_is_as_in_the_models(hardware):
    netlist, pod = hardware.netlist, hardware.pod
    assert pod.copper_mm2("VD") >= 20 * 20, "D1's cathode: 20 K/W on 20 x 20 mm (models.py)"
    for mark in ("TV1", "TV2"):  # 25 K/W from slug to board (thermal.py): at least the tab's own area and as much again
        assert pod.copper_mm2(netlist.PARTS[mark].pins["A"]) >= 2 * 10.4 * 11.0, mark
