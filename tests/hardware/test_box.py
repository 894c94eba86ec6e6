"""The stripboard layout matches the netlist, and the drilling plan fits the boxes."""

import itertools
import math


def test_every_pin_is_soldered_to_the_strip_of_its_net(hardware):
    box = hardware.box
    net_of = {(half, row): net for half, row, net, _ in box.strips()}
    for mark, pins in box.placed().items():
        for pin, (row, column) in pins.items():
            half = "left" if column < box.CUT else "right"
            assert net_of[half, row] == hardware.netlist.PARTS[mark].pins[pin], (mark, pin)


def test_no_hole_is_used_twice_and_all_are_on_the_board(hardware):
    box = hardware.box
    holes = [hole for pins in box.placed().values() for hole in pins.values()]
    assert len(set(holes)) == len(holes)
    for row, column in holes:
        assert 0 <= row < box.ROWS
        assert 1 <= column <= box.COLUMNS
        assert column != box.CUT


def test_every_part_of_the_box_is_placed_or_mounted_off_the_board(hardware):
    box, parts = hardware.box, hardware.netlist.PARTS
    inside = {mark for mark, part in parts.items() if part.place == "box"}
    off = {mark for mark in inside if parts[mark].kind in box.OFF_THE_BOARD} | {"D15"}  # D15 sits at the USB socket
    assert set(box.placed()) == inside - off


def test_strips_of_one_net_are_linked(hardware):
    box = hardware.box
    linked = dict(box.links())
    count = {}
    for _, _, net, _ in box.strips():
        count[net] = count.get(net, 0) + 1
    assert {net for net, n in count.items() if n > 1} == set(linked)
    assert all(len(places) == count[net] for net, places in linked.items())


def test_holes_are_inside_their_face_and_do_not_overlap(hardware):
    box = hardware.box
    for face, name, x, y, across, _ in box.HOLES:
        width, height = box.FACES[face]
        assert across / 2 + 3 <= x <= width - across / 2 - 3, name
        assert across / 2 + 3 <= y <= height - across / 2 - 3, name
    for one, other in itertools.combinations(box.HOLES, 2):
        if one[0] == other[0]:
            assert math.dist(one[2:4], other[2:4]) > (one[4] + other[4]) / 2 + 4, (one[1], other[1])
    sockets = {name for _, name, *_ in box.HOLES if name.startswith("J")}
    assert sockets == {mark for mark in hardware.netlist.PARTS if mark.startswith("J")}
