"""The supply pod inside, to scale: where everything sits in its box, and the islands of its small board, which a test checks against the netlist.

The board is copper-clad laminate, one side: cut the gaps between the islands with a knife or a file; the parts sit on the copper. Millimetres, from the
board's lower left corner, seen from the copper. It is mounted on nylon, so that no screw connects the copper to the box.
"""

from box import FACES, HOLES
from pen import GROUPS, INK, QUIET, Sheet

BOARD = (96.0, 25.0)
BOARD_AT = (11.5, 33.0)  # its lower left corner on the pod's wall
# middle, housing, and what its terminals stick out (50 W in aluminium: as its maker draws it)
R1_AT, R1_MM, TERMINAL_MM = (
    (55.0, 16.5),
    (50.0, 29.0),
    11.0,
)
F2_MM = (14.7, 4.0)  # Therm-O-Disc MICROTEMP G4A data sheet
GAP_MM = 2.0  # least copper to copper

# Net -> rectangles of its copper: left, lower, right, upper edge
ISLANDS = {
    "12V": ((8, 1, 28, 15),),
    "SENSE": ((8, 17, 28, 24),),
    "VD": ((30, 1, 50, 24),),
    "VIN": ((52, 1, 60, 24),),
    "VMID": ((62, 7, 76, 24),),
    "GND": ((78, 1, 89, 24), (62, 1, 78, 5)),
}
NAMED = {
    "12V": (23.5, 2.2),
    "SENSE": (20.0, 22.0),
    "VD": (40.0, 2.2),
    "VIN": (56.0, 11.5),
    "VMID": (66.5, 8.2),
    "GND": (83.5, 21.2),
}
# Mark -> (pin -> where it is soldered, body: left, lower, right, upper edge). Heat leaves D1 by its cathode lead, TV1 and TV2 by their tab, the anode.
PARTS = {
    "D1": ({"A": (22.0, 8.0), "K": (40.0, 8.0)}, (26.2, 5.3, 35.8, 10.7)),
    "R3": ({"1": (14.0, 10.5), "2": (14.0, 20.5)}, (12.8, 12.5, 15.2, 18.5)),
    "TV1": ({"K": (57.5, 16.0), "A": (68.0, 16.0)}, (58.5, 10.8, 72.5, 21.2)),
    "TV2": ({"K": (74.2, 13.0), "A": (84.0, 13.0)}, (75.0, 7.8, 88.8, 18.2)),
    "C1": ({"1": (58.5, 3.0), "2": (63.5, 3.0)}, (58.0, 1.2, 64.0, 4.8)),
}
# Where leads come: name, net, point
LEADS = (
    ("from F1", "12V", (10.5, 3.5)),
    ("to the box: SENSE", "SENSE", (25.0, 20.5)),
    ("to F2", "VD", (47.0, 20.5)),
    ("from R1", "VIN", (54.5, 21.5)),
    ("to the box: VIN", "VIN", (54.5, 7.0)),
    ("ground, in and out", "GND", (86.5, 3.5)),
)


def copper_mm2(net):
    """The copper of a net, mm2."""
    return sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in ISLANDS[net])


def _inside(sheet, left, top, scale):
    """The open pod from above: R1, F2, the board, the glands' end."""
    width, height = FACES["pod, wall"]
    x = lambda mm: round(left + mm * scale, 1)  # noqa: E731
    y = lambda mm: round(top + (height - mm) * scale, 1)  # noqa: E731
    sheet.rect(x(0), y(height), width * scale, height * scale, fill="#eef1f4", class_="face", data_face="pod, wall")
    (cx, cy), (long, high) = R1_AT, R1_MM
    for end in (cx - long / 2 - TERMINAL_MM, cx + long / 2):
        sheet.rect(x(end), y(cy + 2), TERMINAL_MM * scale, 4 * scale, fill="#d9c48f", radius=1)
    sheet.rect(x(cx - long / 2), y(cy + high / 2), long * scale, high * scale, stroke=GROUPS["supply"], fill="#e7c9c6")
    sheet.text(x(cx), y(cy - 9), "R1, on the wall with paste", 12, "middle", weight="bold")
    sheet.rect(x(cx - F2_MM[0] / 2), y(cy + 5), F2_MM[0] * scale, F2_MM[1] * scale, fill="#ffffff")
    sheet.rect(x(cx - 3), y(cy + 7), 6 * scale, 8 * scale, stroke=QUIET, fill="none")
    sheet.text(x(cx + long / 2 + 2), y(cy + 8), "F2 under its", 11)
    sheet.text(x(cx + long / 2 + 2), y(cy + 8) + 14, "metal strap, paste", 11)
    bx, by = BOARD_AT
    sheet.rect(x(bx), y(by + BOARD[1]), BOARD[0] * scale, BOARD[1] * scale, stroke=GROUPS["SPI"], fill="#dfe9f4")
    sheet.text(x(bx + BOARD[0] / 2), y(by + 11), "board, on two nylon spacers of 6 mm", 12, "middle", weight="bold")
    for face, name, hx, hy, across, _ in HOLES:
        if face == "pod, wall":
            sheet.add(
                "circle", cx=x(hx), cy=y(hy), r=across * scale / 2, fill="#ffffff", stroke=INK, class_="hole", data_hole=name
            )
    sheet.text(x(0) - 8, y(30), "glands", 11, "end", QUIET)
    sheet.text(x(0) - 8, y(30) + 14, "at this end", 11, "end", QUIET)
    sheet.text(x(width), y(0) + 18, f"{width} x {height} mm, lid off; leads not drawn", 11, "end", QUIET)


def pod():
    """Both views."""
    sheet = Sheet(960, 740, "The supply pod inside")
    sheet.text(24, 30, "The supply pod inside, to scale", 17, weight="bold")
    sheet.text(
        24, 50, "R1, F2 and the pod's wall get hot after a short behind R1: fuse out before the lid comes off; let it cool.", 12
    )
    _inside(sheet, 180, 72, 5.2)
    left, top, scale = 60, 440, 9.0
    x = lambda mm: round(left + mm * scale, 1)  # noqa: E731
    y = lambda mm: round(top + (BOARD[1] - mm) * scale, 1)  # noqa: E731
    sheet.text(
        24,
        top - 14,
        f"Its board, {BOARD[0]:g} x {BOARD[1]:g} mm, from the copper: copper tinted, gaps of {GAP_MM:g} mm cut away",
        13,
        weight="bold",
    )
    sheet.rect(x(0), y(BOARD[1]), BOARD[0] * scale, BOARD[1] * scale, fill="#fbf7ee", radius=2)
    for net, pieces in ISLANDS.items():
        for x0, y0, x1, y1 in pieces:
            sheet.rect(
                x(x0),
                y(y1),
                (x1 - x0) * scale,
                (y1 - y0) * scale,
                stroke="none",
                fill="#ecd2a6",
                radius=0,
                class_="island",
                data_net=net,
            )
    for name in ("board a", "board b"):
        hx, hy = next((hx, hy) for _, hole, hx, hy, *_ in HOLES if hole == name)
        sheet.add("circle", cx=x(hx - BOARD_AT[0]), cy=y(hy - BOARD_AT[1]), r=1.6 * scale, fill="#ffffff", stroke=INK)
    for net, (nx, ny) in NAMED.items():
        sheet.text(x(nx), y(ny), net, 12, "middle", GROUPS["supply"], "bold", class_="net")
    for mark, (pins, (x0, y0, x1, y1)) in PARTS.items():
        for px, py in pins.values():
            sheet.stroke((x(px), y(py)), (x((x0 + x1) / 2), y((y0 + y1) / 2)), width=2)
        sheet.rect(
            x(x0),
            y(y1),
            (x1 - x0) * scale,
            (y1 - y0) * scale,
            stroke=GROUPS["SPI"],
            fill="#ffffff",
            fill_opacity="0.85",
            radius=2,
        )
        sheet.text(x((x0 + x1) / 2), y((y0 + y1) / 2) + 4, mark, 11.5, "middle", weight="bold", class_="mark")
        for pin, (px, py) in pins.items():
            sheet.add("circle", cx=x(px), cy=y(py), r=4, fill=INK, class_="pin", data_mark=mark, data_pin=pin)
            if pin in "AK":
                sheet.text(x(px), y(py) - 8, pin, 10.5, "middle", QUIET)
    for number, (_, _, (px, py)) in enumerate(LEADS):
        sheet.add("circle", cx=x(px), cy=y(py), r=8, fill="#ffffff", stroke=GROUPS["supply"], stroke_width=1.6)
        sheet.text(x(px), y(py) + 4, str(number + 1), 10.5, "middle")
    words = "; ".join(f"{number + 1} {name}" for number, (name, _, _) in enumerate(LEADS))
    sheet.text(24, y(0) + 30, f"Leads: {words}.", 12)
    sheet.text(
        24,
        y(0) + 48,
        "VT does not come to the board: F2's other lead goes straight to R1. K: the ring of D1, the single lead of TV1 and TV2, whose tab is A.",
        12,
    )
    return sheet
