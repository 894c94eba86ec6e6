"""The few symbols the drawings need, written as SVG. Coordinates in px, y downwards."""

from html import escape

GROUPS = {
    "supply": "#b3261e",
    "SPI": "#1f5fa8",
    "select": "#6b3fa0",
    "I2C": "#8a5a00",
    "input": "#0f6674",
    "analogue": "#a0307a",
    "output": "#c2560c",
    "free": "#8b8f94",
}
INK = "#1c1f23"
QUIET = "#5b6066"
FONT = "DejaVu Sans, Arial, Helvetica, sans-serif"


class Sheet:
    """Collects elements; svg() gives the file's text. The same calls give the same bytes.

    Beside the picture it keeps what is joined, for tests/hardware/drawn.py: `leads` (their points), `bundles` (points, net names), `dots`, `named`
    (point, net), `ends` (mark, pins or "" where they are alike, points), `outlines` (mark, left, top, right, bottom).
    """

    def __init__(self, width, height, title, left=0):
        self.width, self.height, self.title, self.left = width, height, title, left
        self._elements = []
        self.leads, self.bundles, self.dots, self.named, self.ends, self.outlines = [], [], [], [], [], []

    def add(self, name, text=None, **attributes):
        pairs = "".join(f' {key.rstrip("_").replace("_", "-")}="{escape(str(value))}"' for key, value in attributes.items())
        self._elements.append(f"<{name}{pairs}/>" if text is None else f"<{name}{pairs}>{escape(text)}</{name}>")

    def svg(self):
        begin = f'x="{self.left}" ' if self.left else ""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{self.left} 0 {self.width} {self.height}" width="{self.width}" '
            f'height="{self.height}" font-family="{FONT}" role="img">\n<title>{escape(self.title)}</title>\n'
            f'<rect {begin}width="{self.width}" height="{self.height}" fill="#ffffff"/>\n'
        )
        return head + "\n".join(self._elements) + "\n</svg>\n"

    def text(self, x, y, words, size=12, anchor="start", colour=INK, weight="normal", **more):
        self.add("text", words, x=x, y=y, font_size=size, text_anchor=anchor, fill=colour, font_weight=weight, **more)

    def lines(self, x, y, rows, size=12, anchor="start", colour=QUIET, step=16):
        for number, row in enumerate(rows):
            self.text(x, y + number * step, row, size, anchor, colour)

    def rect(self, x, y, width, height, stroke=INK, fill="#ffffff", radius=3, **more):
        self.add("rect", x=x, y=y, width=width, height=height, rx=radius, fill=fill, stroke=stroke, stroke_width=1.4, **more)

    def frame(self, x, y, width, height, title):
        """The dashed frame around one circuit, with its name."""
        self.rect(x, y, width, height, stroke="#c3c7cc", fill="#fafbfc", radius=8, stroke_dasharray="5 4")
        self.text(x + 10, y + 18, title, 13, weight="bold")

    def wire(self, *points, colour=INK, **more):
        """A lead."""
        self.leads.append(points)
        self.stroke(*points, colour=colour, **more)

    def bundle(self, *points, nets):
        """Several leads drawn as one."""
        self.bundles.append((points, nets))
        self.stroke(*points, data_nets=" ".join(nets))

    def end(self, x, y, mark, pin):
        """Record a pin of a part that is drawn stroke by stroke."""
        self.ends.append((mark, (pin,), ((x, y),)))

    def name(self, x, y, net):
        """Name the net at a point without a rail symbol."""
        self.named.append(((x, y), net))

    def stroke(self, *points, colour=INK, width=1.7, **more):
        """A line that is part of a symbol."""
        path = " ".join(f"{x},{y}" for x, y in points)
        self.add("polyline", points=path, fill="none", stroke=colour, stroke_width=width, stroke_linejoin="round", **more)

    def dot(self, x, y, colour=INK):
        self.dots.append((x, y))
        self.add("circle", cx=x, cy=y, r=3, fill=colour)

    def ref(self, x, y, mark, value="", anchor="middle"):
        """A part's mark as in bom.csv, with its value below."""
        self.text(x, y, mark, 11, anchor, weight="bold", class_="ref")
        if value:
            self.text(x, y + 13, value, 10.5, anchor, QUIET)

    def ground(self, x, y):
        self.name(x, y, "GND")
        self.stroke((x, y), (x, y + 6))
        for row, half in enumerate((9, 6, 3)):
            self.stroke((x - half, y + 6 + 4 * row), (x + half, y + 6 + 4 * row))

    def rail(self, x, y, name, colour=GROUPS["supply"]):
        """A named supply: a bar on top of a lead that ends at (x, y)."""
        self.name(x, y, name)
        self.stroke((x, y), (x, y - 8), colour=colour)
        self.stroke((x - 9, y - 8), (x + 9, y - 8), colour=colour, width=2.2)
        self.text(x, y - 13, name, 10.5, "middle", colour, "bold")

    def resistor(self, x, y, mark, value, standing=False):
        """Body about (x, y), leads to 26 px either side."""
        self.ends.append((mark, ("", ""), ((x, y - 26), (x, y + 26)) if standing else ((x - 26, y), (x + 26, y))))
        if standing:
            self.stroke((x, y - 26), (x, y + 26))
            self.rect(x - 6, y - 16, 12, 32, radius=1)
            self.ref(x + 11, y - 2, mark, value, "start")
        else:
            self.stroke((x - 26, y), (x + 26, y))
            self.rect(x - 16, y - 6, 32, 12, radius=1)
            self.text(x, y - 11, mark, 11, "middle", weight="bold", class_="ref")
            self.text(x, y + 18, value, 10.5, "middle", QUIET)

    def capacitor(self, x, y, mark, value):
        """Standing: leads from y - 26 to y + 26."""
        self.ends.append((mark, ("", ""), ((x, y - 26), (x, y + 26))))
        self.stroke((x, y - 26), (x, y - 3))
        self.stroke((x, y + 3), (x, y + 26))
        self.stroke((x - 10, y - 3), (x + 10, y - 3), width=2.4)
        self.stroke((x - 10, y + 3), (x + 10, y + 3), width=2.4)
        self.ref(x + 13, y - 2, mark, value, "start")

    def diode(self, x, y, towards, mark="", value="", reach=26, zener=False, of=""):
        """Current flows `towards` "left", "right", "up" or "down"; leads to `reach` px either side. of: its mark, where that is written elsewhere."""
        across = towards in ("left", "right")
        sign = -1 if towards in ("left", "up") else 1
        turn = (lambda a, b: (x + a, y + b)) if across else (lambda a, b: (x + b, y + a))
        if of or mark:
            self.ends.append((of or mark, ("A", "K"), (turn(-reach * sign, 0), turn(reach * sign, 0))))
        self.stroke(turn(-reach, 0), turn(reach, 0))
        points = " ".join(f"{a},{b}" for a, b in (turn(-7 * sign, -8), turn(-7 * sign, 8), turn(7 * sign, 0)))
        self.add("polygon", points=points, fill="#ffffff", stroke=INK, stroke_width=1.4)
        self.stroke(turn(7 * sign, -8), turn(7 * sign, 8), width=2.2)
        if zener:
            self.stroke(turn(7 * sign, -8), turn(11 * sign, -11))
            self.stroke(turn(7 * sign, 8), turn(3 * sign, 11))
        if mark and across:
            self.text(x, y - 13, mark, 11, "middle", weight="bold", class_="ref")
            self.text(x, y + 22, value, 10.5, "middle", QUIET)
        elif mark:
            self.ref(x + 14, y - 2, mark, value, "start")

    def clamp(self, x, y, mark, value):
        """Two diodes from (x, y): one up to 3V3, one up from ground."""
        for pin, at in (("K", y - 40), ("M", y), ("A", y + 40)):
            self.end(x, at, mark, pin)
        self.diode(x, y - 20, "up", reach=20)
        self.diode(x, y + 20, "up", reach=20)
        self.rail(x, y - 40, "3V3")
        self.ground(x, y + 40)
        self.dot(x, y)
        self.ref(x + 12, y + 24, mark, value, "start")

    def terminal(self, x, y, words, anchor="start", net=""):
        """A screw terminal of the box; words beside it, outside, and the lead on its other side."""
        self.name(x + (6 if anchor == "end" else -6), y, net)
        self.add("circle", cx=x, cy=y, r=5, fill="#ffffff", stroke=INK, stroke_width=1.6)
        self.lines(x + (-11 if anchor == "end" else 11), y + 4 - 7 * (len(words) - 1), words, 11, anchor, INK, 14)

    def module(self, x, y, width, height, mark, rows, fill="#eef2f6"):
        """A bought module: its mark and what it is."""
        self.outlines.append((mark, x, y, x + width, y + height))
        self.rect(x, y, width, height, fill=fill)
        self.text(x + width / 2, y + 17, mark, 12, "middle", weight="bold", class_="ref")
        self.lines(x + width / 2, y + 33, rows, 11, "middle", QUIET, 14)

    def switch_transistor(self, x, y, mark, pulldown_mark):
        """n-channel transistor with its gate pull-down; gate lead comes from the right at (x + 60, y); drain at (x, y - 26)."""
        self.ends.append((mark, ("D", "G", "S"), ((x, y - 26), (x + 14, y), (x, y + 20))))
        self.stroke((x, y - 26), (x, y + 20))
        self.ground(x, y + 20)
        self.rect(x - 14, y - 15, 28, 30, radius=14)
        self.text(x, y + 4, "n", 11, "middle")
        self.text(x - 19, y + 4, mark, 11, "end", weight="bold", class_="ref")
        self.wire((x + 14, y), (x + 60, y))
        self.dot(x + 36, y)
        self.wire((x + 36, y), (x + 36, y + 4))
        self.resistor(x + 36, y + 30, pulldown_mark, "100k", standing=True)  # the same at every transistor; a test compares
        self.ground(x + 36, y + 56)
