"""The path of laps to scale, north up, as SVG: margin by colour and also by shape. It shows no coordinates, but its form may still reveal where it is."""

import numpy as np
from markupsafe import Markup, escape

from hotfuel.risk.level import Level
from hotfuel.study.drive.laps import Laps
from hotfuel.units import Shown

_WIDE, _HIGH, _EDGE, _LEGEND = 640.0, 420.0, 26.0, 46.0
_POINTS_MOST = 400  # shapes closer together cannot be told apart
_COLOURS = {"quiet": "#2f6fb2", "warn": "#b36b00", "act": "#b3186d", "none": "#777777"}
_WORDS = {"quiet": "no warning", "warn": "close to the limit", "act": "beyond the limit", "none": "no margin"}
_BARS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


def track(found: Laps, shown: Shown) -> Markup:
    """The drawing; empty without a path."""
    path = found.path
    if path is None or not len(found.laps):
        return Markup("")
    use = _of_laps(found)
    x, y = path.x_m[use], path.y_m[use]
    scale = min((_WIDE - 2 * _EDGE) / max(np.ptp(x), 1.0), (_HIGH - 2 * _EDGE - _LEGEND) / max(np.ptp(y), 1.0))
    left = (_WIDE - scale * np.ptp(x)) / 2
    px, py = left + scale * (x - x.min()), _EDGE + scale * (y.max() - y)
    parts = [
        f'<svg class="track" viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="The path of the laps, to scale, north up; '
        f'each shape is the margin there">',
        f'<polyline fill="none" stroke="#bbbbbb" stroke-width="1" points="{" ".join(f"{a:.1f},{b:.1f}" for a, b in zip(px, py, strict=True))}"/>',
    ]
    kinds = [_kind(state) for state in found.state[use]]
    step = max(1, -(-len(px) // _POINTS_MOST))
    order = ("none", "quiet", "warn", "act")  # the worst on top
    for kind in order:
        parts += [_shape(kind, a, b) for a, b, one in zip(px[::step], py[::step], kinds[::step], strict=True) if one == kind]
    if found.line is not None:
        lx, ly = path.plane.metres(found.line.latitude_deg, found.line.longitude_deg)
        parts.append(_line(left + scale * (float(lx) - x.min()), _EDGE + scale * (y.max() - float(ly)), found.line.heading_deg))
    parts += _foot(scale, [kind for kind in order if kind in kinds], shown)
    return Markup("".join([*parts, "</svg>"]))


def _of_laps(found: Laps) -> np.ndarray:
    """Which fixes lie on a lap. Times of laps are the session's, those of fixes its timeline's: the first crossing ties them."""
    assert found.path is not None
    seconds = found.path.seconds - found.start_s
    return (seconds >= found.laps[0].start_s) & (seconds <= found.laps[-1].end_s)


def _kind(state: float) -> str:
    if not np.isfinite(state):
        return "none"
    look = Level(int(state)).look
    return look if look in _WORDS else "none"  # a lost sensor has no margin


def _shape(kind: str, x: float, y: float) -> str:
    colour = _COLOURS[kind]
    if kind == "quiet":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.6" fill="{colour}"/>'
    if kind == "warn":
        return f'<path d="M{x:.1f} {y - 5:.1f}l4.6 8h-9.2z" fill="{colour}"/>'
    if kind == "act":
        return f'<path d="M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8" stroke="{colour}" stroke-width="2.4" fill="none"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2" fill="none" stroke="{colour}"/>'


def _line(x: float, y: float, heading_deg: float) -> str:
    return (
        f'<g transform="translate({x:.1f} {y:.1f}) rotate({heading_deg:.0f})"><path d="M-14 0h28" stroke="#111111" stroke-width="3"/>'
        f'<path d="M0 -4v-14m-4 5l4 -5l4 5" stroke="#111111" stroke-width="1.6" fill="none"/></g>'
    )


def _foot(scale: float, kinds: list[str], shown: Shown) -> list[str]:
    """Scale bar, north, what the shapes mean."""
    unit_m = 1.0 if shown.system == "si" else 0.3048
    bar = max((size for size in _BARS if size * unit_m * scale <= _WIDE / 3), default=_BARS[0])
    wide, low = bar * unit_m * scale, _HIGH - 14
    parts = [
        f'<path d="M{_EDGE} {low - 5}v5h{wide:.1f}v-5" stroke="#111111" fill="none"/>',
        f'<text x="{_EDGE + wide / 2:.1f}" y="{low - 8}" text-anchor="middle" font-size="12">{escape(shown.text(bar * unit_m, "length"))}</text>',
        f'<path d="M{_WIDE - 14} {_EDGE + 22}v-22m-4 6l4 -6l4 6" stroke="#111111" fill="none"/>'
        f'<text x="{_WIDE - 14}" y="{_EDGE + 36}" text-anchor="middle" font-size="12">N</text>',
    ]
    at = _EDGE + max(wide, 60) + 34
    for kind in kinds:
        parts += [_shape(kind, at, low - 4), f'<text x="{at + 9:.1f}" y="{low}" font-size="12">{_WORDS[kind]}</text>']
        at += 26 + 6.6 * len(_WORDS[kind])
    return parts
