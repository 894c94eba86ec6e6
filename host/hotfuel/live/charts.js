"use strict";
// One small chart a place, filled with what comes with the panels. Lines differ in width, dash and place on the page, not in hue.
window.Charts = (() => {
  const POINTS = 720, AGAIN_MS = 8000, BEHIND_MS = 8 * 60000, AHEAD_MS = 5 * 60000;
  const made = new Map(), LOCAL = { sync: false };
  let base = "", x = [], data = {}, ahead = {}, marks = [];
  const colour = name => getComputedStyle(document.body).getPropertyValue(name).trim();
  const dressed = figure => {
    const letters = getComputedStyle(document.body).fontSize;
    figure.setv({ background_fill_color: colour("--panel"), border_fill_color: colour("--panel"), outline_line_color: null }, LOCAL);
    for (const axis of [...figure.below, ...figure.left]) {
      const ink = colour("--ink");
      axis.setv({ axis_line_color: ink, major_tick_line_color: ink, minor_tick_line_color: null, major_label_text_color: ink, major_label_text_font_size: letters }, LOCAL);
    }
    for (const item of figure.center) {
      if ("grid_line_color" in item) item.setv({ grid_line_color: colour("--line"), grid_line_alpha: 0.3 }, LOCAL);
      else if (item.name === "zero") item.setv({ line_color: colour("--ink") }, LOCAL);
    }
    for (const renderer of figure.renderers) {
      const glyph = renderer.glyph;
      if (renderer.name === "band") glyph.setv({ fill_color: colour("--trace") }, LOCAL);
      else if (renderer.name === "end") glyph.setv({ text_color: colour("--ink"), background_fill_color: colour("--panel"), text_font_size: letters }, LOCAL);
      else if (renderer.name === "margin") glyph.setv({ line_color: colour("--trace") }, LOCAL);
      else glyph.setv({ line_color: colour("--ink") }, LOCAL);
    }
  };
  const make = async (place, box) => {
    made.set(place, { box, ready: false });
    try {
      const reply = await fetch(`${base}/chart?place=${encodeURIComponent(place)}`);
      if (!reply.ok) throw new Error(reply.statusText);
      const item = await reply.json();
      await window.Bokeh.embed.embed_item(item, box.id);
      const model = window.Bokeh.documents[window.Bokeh.documents.length - 1];
      const figure = model.get_model_by_name(`chart ${place}`), of = name => model.get_model_by_name(`${name} ${place}`);
      box.classList.add("made");
      box.setAttribute("role", "img");
      dressed(figure);
      made.set(place, { box, ready: true, figure, points: of("points"), ahead: of("ahead"), marks: of("marks"), end: of("end") });
      fill(place);
    } catch { setTimeout(() => made.delete(place), AGAIN_MS); }
  };
  const fill = (place, words) => {
    const here = made.get(place), mine = data[place];
    if (!here || !here.ready || !mine) return;
    const margin = mine.margin, gap = value => (value === null ? NaN : value);
    here.points.data = {
      x: x.slice(), margin: margin.map(gap), low: margin.map((value, index) => gap(value) - gap(mine.doubt[index])), high: margin.map((value, index) => gap(value) + gap(mine.doubt[index])),
    };
    const last = margin.length - 1, path = ahead[place];
    if (last >= 0) here.figure.x_range.setv({ start: x[last] - BEHIND_MS, end: x[last] + (path && path.x.length ? AHEAD_MS : 0.04 * BEHIND_MS) }, LOCAL);
    here.ahead.data = path ? { x: path.x, margin: path.margin.map(gap) } : { x: [], margin: [] };
    here.marks.data = { x: marks.filter(moment => moment >= x[0]) };
    const past = last >= 0 && margin[last] < 0;  // the label stands on the side away from zero
    here.figure.renderers.find(renderer => renderer.name === "end").glyph.setv({ text_baseline: past ? "top" : "bottom", y_offset: past ? 5 : -5 }, LOCAL);
    here.end.data = last >= 0 && margin[last] !== null && words ? { x: [x[last]], margin: [margin[last]], text: [words] } : { x: [], margin: [], text: [] };
    here.box.setAttribute("aria-label", `margin of the last minutes${words ? `, now ${words}` : ""}`);
  };
  const take = (points, boxes, rows) => {
    if (points.anew) { x = []; data = {}; }
    if (points.ahead) ahead = points.ahead;
    if (points.marks) marks = points.marks;
    if (points.x) {
      const before = x.length;
      x = x.concat(points.x);
      for (const [place, columns] of Object.entries(points.places)) {
        const mine = data[place] || { margin: new Array(before).fill(null), doubt: new Array(before).fill(null) };
        data[place] = { margin: mine.margin.concat(columns.margin), doubt: mine.doubt.concat(columns.doubt) };
      }
      for (const mine of Object.values(data)) while (mine.margin.length < x.length) { mine.margin.push(null); mine.doubt.push(null); }
      const over = x.length - POINTS;
      if (over > 0) {
        x = x.slice(over);
        for (const mine of Object.values(data)) { mine.margin = mine.margin.slice(over); mine.doubt = mine.doubt.slice(over); }
      }
    }
    const fresh = Boolean(points.x || points.ahead || points.marks);
    for (const [place, box] of boxes) {
      if (!data[place]) continue;
      const here = made.get(place);
      if (here && here.box !== box) made.delete(place);
      if (!made.has(place)) make(place, box);
      else if (fresh) {
        const row = rows.find(other => other.place === place);
        fill(place, row && row.left ? `${row.margin} ${row.difference} ${row.left}` : "");
      }
    }
  };
  // Out of date: no number at the line's end, and no forecast. The next current panel brings both back.
  const old = () => {
    for (const here of made.values()) {
      if (!here.ready) continue;
      if (here.end.data.text.length) here.end.data = { x: [], margin: [], text: [] };
      if (here.ahead.data.x.length) here.ahead.data = { x: [], margin: [] };
      here.box.setAttribute("aria-label", "margin of the last minutes before readings stopped");
    }
  };
  return { old, set base(path) { base = path; }, take, dress() { for (const here of made.values()) if (here.ready) dressed(here.figure); }, count: () => [...made.values()].filter(here => here.ready).length };
})();
