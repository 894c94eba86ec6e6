// Shows the value under the pointer and zooms into a stretch of time. The page is complete without it: this script draws no chart.
"use strict";
(() => {
  const charts = [...document.querySelectorAll("svg.chart")].map((svg) => {
    const [x0, low, x1, high, time] = svg.dataset.x.split(" ");
    const [y0, bottom, y1, top] = svg.dataset.y.split(" ").map(Number);
    const chart = { svg, x0: +x0, x1: +x1, low: +low, high: +high, time, y0, y1, bottom, top };
    return Object.assign(chart, { from: chart.low, to: chart.high, moves: svg.querySelector(".moves"), along: svg.querySelector(".along") });
  });
  if (!charts.length) return;
  const tip = Object.assign(document.createElement("div"), { className: "under", hidden: true });
  tip.setAttribute("role", "status");
  document.body.append(tip);

  // The pieces of a path as they are drawn: "M" begins one, "l" is a step from the point before.
  const read = new WeakMap();
  const pieces = (path) => {
    if (!read.has(path)) {
      const found = [];
      let x = 0, y = 0;
      for (const [, kind, a, b] of path.getAttribute("d").matchAll(/([Ml])(-?[\d.]+) (-?[\d.]+)/g)) {
        [x, y] = kind === "M" ? [+a, +b] : [x + +a, y + +b];
        if (kind === "M") found.push([]);
        found.at(-1).push([x, y]);
      }
      read.set(path, found);
    }
    return read.get(path);
  };
  const value = (chart, px) => chart.low + ((px - chart.x0) / (chart.x1 - chart.x0)) * (chart.high - chart.low);
  const two = (number) => String(Math.floor(number)).padStart(2, "0");
  const clock = (chart, ms, seconds = true) => {
    const s = Math.round(ms / 1000);
    const h = Math.floor(s / 3600);
    return `${chart.time === "clock" ? two(h % 24) : h}:${two((s / 60) % 60)}${seconds ? `:${two(s % 60)}` : ""}`;
  };
  // No finer than the drawing: points are rounded to a tenth of a px.
  const number = (size, unit) => (v) => {
    const least = unit === "rpm" ? 10 : unit === "V" ? 0.01 : 0.1;
    const step = Math.max(least, 10 ** Math.ceil(Math.log10(size / 10)));
    return (Math.round(v / step) * step + 0).toFixed(Math.max(0, -Math.floor(Math.log10(step) + 1e-9))).replace(/^-(?=[0.]*$)/, "").replace("-", "−");
  };
  const scaled = (chart) => (chart.high - chart.low) / (chart.to - chart.from);
  const shownX = (chart, px) => chart.x0 + (px - chart.x0 - ((chart.from - chart.low) / (chart.high - chart.low)) * (chart.x1 - chart.x0)) * scaled(chart);

  const said = (chart, x, y, target) => {
    if (target.dataset?.tip) return target.dataset.tip;
    // A point that was drawn, within a few px; else the line between two of them. Between two pieces nothing is shown.
    let best = null;
    const offer = (px, py, path, extra) => {
      const away = Math.abs(shownX(chart, px) - x) + Math.abs(py - y) + extra;
      if (!best || away < best.away) best = { away, px, py, path };
    };
    const here = chart.x0 + ((chart.from - chart.low) / (chart.high - chart.low)) * (chart.x1 - chart.x0) + (x - chart.x0) / scaled(chart);
    for (const path of chart.svg.querySelectorAll("path.line")) {
      for (const piece of pieces(path)) {
        piece.forEach(([px, py], at) => {
          if (Math.abs(shownX(chart, px) - x) < 6) offer(px, py, path, 0);
          const [qx, qy] = piece[at + 1] || [px, py];
          if (here > px && here < qx) offer(here, py + ((qy - py) * (here - px)) / (qx - px), path, 6);
        });
      }
    }
    if (!best) return "";
    const each = (chart.top - chart.bottom) / (chart.y0 - chart.y1);
    const v = chart.bottom + (chart.y0 - best.py) * each;
    const at = value(chart, best.px);
    const where = chart.time ? clock(chart, at) : `${Math.round(at)} ${chart.svg.dataset.along || ""}`.trim();
    const unit = best.path.dataset.unit;
    return `${best.path.dataset.name}: ${number(each, unit)(v)} ${unit} at ${where}`;
  };
  const inside = (chart, event) => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(chart.svg.getScreenCTM().inverse());
    return { x: at.x, y: at.y, on: at.x >= chart.x0 && at.x <= chart.x1 && at.y >= chart.y1 - 4 && at.y <= chart.y0 + 4 };
  };

  const look = (from, to) => {
    for (const chart of charts.filter((one) => one.time)) {
      [chart.from, chart.to] = [Math.max(from, chart.low), Math.min(to, chart.high)];
      const by = scaled(chart);
      chart.moves.setAttribute("transform", by === 1 ? "" : `matrix(${by} 0 0 1 ${shownX(chart, 0)} 0)`);
      for (const label of chart.svg.querySelectorAll("[data-at]")) {
        const x = shownX(chart, chart.x0 + ((label.dataset.at - chart.low) / (chart.high - chart.low)) * (chart.x1 - chart.x0));
        label.setAttribute("x", x + 3);
        label.style.visibility = x < chart.x0 - 1 || x > chart.x1 ? "hidden" : "";
      }
      const old = chart.along.whole ||= chart.along.innerHTML;
      if (by === 1) { chart.along.innerHTML = old; continue; }
      const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 21600, 86400].map((s) => 1000 * s);
      const step = steps.find((s) => (chart.to - chart.from) / s <= 7) || steps.at(-1);
      const labelled = /<text/.test(old);
      let text = "";
      for (let t = Math.ceil(chart.from / step) * step; t <= chart.to; t += step) {
        const x = (chart.x0 + ((t - chart.from) / (chart.to - chart.from)) * (chart.x1 - chart.x0)).toFixed(1);
        text += `<path class="grid" d="M${x} ${chart.y1}V${chart.y0 + (labelled ? 4 : 0)}"/>`;
        if (labelled) text += `<text x="${x}" y="${chart.y0 + 15}" text-anchor="middle">${clock(chart, t, step < 60000)}</text>`;
      }
      chart.along.innerHTML = text;
    }
  };

  for (const chart of charts) {
    let began = null, sweep = null;
    const back = (px) => chart.from + ((px - chart.x0) / (chart.x1 - chart.x0)) * (chart.to - chart.from);
    chart.svg.addEventListener("pointermove", (event) => {
      const { x, y, on } = inside(chart, event);
      const text = on || event.target.dataset?.tip ? said(chart, x, y, event.target) : "";
      tip.hidden = !text;
      tip.textContent = text;
      tip.style.left = `${Math.max(4, Math.min(event.clientX + 12, innerWidth - tip.offsetWidth - 8))}px`;
      tip.style.top = `${event.clientY > 60 ? event.clientY - 34 : event.clientY + 18}px`;
      if (sweep) {
        sweep.setAttribute("x", Math.min(began, x));
        sweep.setAttribute("width", Math.abs(x - began));
      }
    });
    chart.svg.addEventListener("pointerleave", () => { tip.hidden = true; });
    if (!chart.time) continue;
    chart.svg.addEventListener("pointerdown", (event) => {
      const { x, on } = inside(chart, event);
      if (!on || event.pointerType === "touch" || event.button) return;
      began = x;
      sweep = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      for (const [key, to] of Object.entries({ x, y: chart.y1, width: 0, height: chart.y0 - chart.y1, fill: "#0b62a4", "fill-opacity": 0.15 })) sweep.setAttribute(key, to);
      chart.svg.append(sweep);
      event.preventDefault();
    });
    addEventListener("pointerup", (event) => {
      if (!sweep) return;
      const { x } = inside(chart, event);
      const ends = [began, x].map((px) => Math.min(Math.max(px, chart.x0), chart.x1)).sort((a, b) => a - b).map(back);
      sweep.remove();
      sweep = null;
      if (ends[1] - ends[0] > 2000 && Math.abs(x - began) > 6) look(...ends);
    });
    chart.svg.addEventListener("dblclick", () => look(-Infinity, Infinity));
  }
})();
