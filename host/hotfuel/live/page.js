"use strict";
// Shows what the server tells, as text and never as markup. Whether it is still true is decided here, by this browser's own clock.
(() => {
  const STALE_S = 2, SILENT_S = 2, RELOAD_S = 5, EVERY_MS = 200;
  if (window.top !== window.self) { document.documentElement.replaceChildren(); return; }
  const at = id => document.getElementById(id);
  const put = (element, text) => { if (element.textContent !== text) element.textContent = text; };
  const svg = path => `<svg viewBox="0 0 100 100" aria-hidden="true"><path d="${path}"/></svg>`;
  // The arrow is where the margin goes: towards the limit, away from it, nowhere, boiling.
  const ARROWS = {
    closing: svg("M50 12 V86 M20 56 L50 86 L80 56"), opening: svg("M50 88 V14 M20 44 L50 14 L80 44"), level: svg("M12 50 H86 M58 22 L86 50 L58 78"),
    boiling: svg("M8 66 q14 -34 28 0 t28 0 t28 0 M30 24 h.1 M54 12 h.1 M72 28 h.1"), unknown: "",
  };
  const SAID = { closing: "margin is closing", opening: "margin is opening", level: "level", boiling: "boiling has begun", unknown: "" };
  const arrow = (element, kind) => {
    if (element.dataset.kind === kind) return;
    element.dataset.kind = kind;
    element.innerHTML = ARROWS[kind] || "";
    element.title = SAID[kind] || "";
  };
  let panel = null, arrived = null, told = null, asked = null, figure = null, legend = "", reloading = 0;
  const now = () => ({ steady: performance.now(), wall: Date.now() });
  // The steady clock may stand still while a phone sleeps, the wall clock may be set: the longer of the two counts.
  const since = mark => mark === null ? Infinity : Math.max(performance.now() - mark.steady, Date.now() - mark.wall) / 1000;

  const list = (element, tag, rows) => {
    while (element.children.length > rows.length) element.lastChild.remove();
    rows.forEach((text, index) => {
      if (!element.children[index]) element.append(document.createElement(tag));
      put(element.children[index], text);
    });
  };
  const pairs = (element, rows) => {
    while (element.children.length > 2 * rows.length) element.lastChild.remove();
    rows.forEach((row, index) => {
      if (!element.children[2 * index]) element.append(document.createElement("dt"), document.createElement("dd"));
      put(element.children[2 * index], row.name);
      put(element.children[2 * index + 1], row.text);
      element.children[2 * index + 1].classList.toggle("bad", Boolean(row.bad));
    });
  };
  const piece = (parent, tag, name) => {
    const element = document.createElement(tag);
    element.className = name;
    parent.append(element);
    return element;
  };

  const cards = new Map();
  const card = place => {
    const box = document.createElement("article");
    const made = { box };
    box.className = "place";
    box.dataset.place = place;
    const first = piece(box, "div", "first");
    piece(first, "span", "sign");
    made.word = piece(first, "span", "word");
    made.name = piece(box, "div", "name");
    const degrees = piece(box, "div", "degrees");
    made.temperature = piece(degrees, "span", "temperature n");
    degrees.append(" ");
    made.unit = piece(degrees, "small", "");
    const limit = piece(box, "div", "row");
    made.limit = piece(limit, "span", "limit n");
    const row = piece(box, "div", "row");
    made.arrow = piece(row, "span", "arrow");
    made.margin = piece(row, "span", "margin n");
    made.trend = piece(row, "span", "trend n");
    made.eta = piece(row, "strong", "eta n");
    made.lost = piece(box, "p", "lost");
    made.action = piece(box, "p", "action");
    made.history = piece(box, "p", "soft");
    const why = piece(box, "details", "soft");
    piece(why, "summary", "").textContent = "why this limit";
    made.detail = piece(why, "p", "");
    made.why = why;
    cards.set(place, made);
    at("places").append(box);
    return made;
  };
  const places = rows => {
    const wanted = new Set(rows.map(row => row.place));
    for (const [place, made] of cards) if (!wanted.has(place)) { made.box.remove(); cards.delete(place); }
    for (const row of rows) {
      const made = cards.get(row.place) || card(row.place);
      made.box.dataset.key = row.key;
      for (const name of ["word", "name", "temperature", "unit", "trend", "eta", "lost", "action", "history"]) put(made[name], row[name]);
      put(made.limit, row.limit ? `limit now ${row.limit}` : "");
      put(made.margin, row.margin);
      put(made.detail, [row.indicative, row.detail].filter(Boolean).join("; "));
      made.why.hidden = !row.limit;
      arrow(made.arrow, row.margin ? row.arrow : "unknown");
      for (const name of ["lost", "action", "history", "limit"]) made[name].hidden = !made[name].textContent;
    }
  };

  const show = text => {
    let next = null;
    try { next = JSON.parse(text); } catch { return; }
    if (next === null) return;
    panel = next;
    arrived = now();
    asked.data = { taken: [panel.sequence], request: [request] };
    const head = panel.head;
    put(at("name"), panel.name);
    put(at("time"), panel.time);
    put(at("driver"), panel.driver);
    put(at("caution"), panel.caution);
    at("head").dataset.key = head.key;
    put(at("head-word"), head.where ? `${head.word}: ${head.where}` : head.word);
    put(at("head-place"), head.place);
    put(at("head-margin"), head.margin);
    put(at("head-unit"), head.unit);
    put(at("head-left"), head.left);
    put(at("head-range"), head.place ? `range ${head.range}` : head.range);
    put(at("head-trend"), head.trend);
    put(at("head-eta"), head.eta);
    put(at("head-action"), head.action);
    arrow(at("head-arrow"), head.arrow);
    document.body.classList.toggle("sounding", panel.sounding && panel.live);
    list(at("flags"), "li", panel.flags);
    places(panel.places);
    list(at("marks"), "li", panel.marks.map(mark => `${mark.time}  ${mark.text}`));
    at("forecast").hidden = !panel.forecasts.rows.length;
    put(at("forecast-title"), panel.forecasts.title);
    put(at("forecast-note"), panel.forecasts.note);
    pairs(at("forecast-rows"), panel.forecasts.rows);
    pairs(at("health-rows"), panel.health);
    list(at("notes"), "li", panel.notes);
    for (const id of ["mark-text", "acknowledge", "end"]) at(id).disabled = !panel.live;
    at("mark-form").querySelector("button").disabled = !panel.live;
    if (panel.answer.words && panel.answer.id === requestId) {
      put(at("answer"), panel.answer.words);
      request = "";
    }
    const lines = JSON.stringify(panel.lines);
    if (lines !== legend) { legend = lines; dress(); }
    judge();
  };

  // Every number is as old as its reading when it was sent, and as much older as this browser has waited since.
  const judge = () => {
    const silent = since(arrived);
    const age = panel === null || panel.age_s === null ? Infinity : panel.age_s + silent;
    const ended = panel !== null && !panel.live && !panel.reading;
    const old = age > STALE_S || ended || Boolean(panel && panel.reading);
    let words = "";
    if (panel === null || arrived === null) words = "Waiting for the recording computer";
    else if (silent > SILENT_S) words = `NOT CURRENT: no word from the recording computer for ${whole(silent)}. Numbers are of ${panel.time}.`;
    else if (panel.reading) words = panel.reading;
    else if (ended) words = `This recording has ended. Numbers are of its last moment, ${panel.time}.`;
    else if (age === Infinity) words = "Waiting for the first reading of the board";
    else if (old) words = `NOT CURRENT: last reading ${whole(age)} ago, at ${panel.time}.`;
    document.body.classList.toggle("old", old || silent > SILENT_S);
    document.body.classList.toggle("ended", ended && silent <= SILENT_S);
    put(at("link"), old || silent > SILENT_S ? "not current" : "receiving");
    at("alert").hidden = !words;
    put(at("alert"), words);
    if (silent > RELOAD_S && panel !== null && Date.now() - reloading > 2000) {
      reloading = Date.now();
      sessionStorage.setItem("mark", at("mark-text").value);
      fetch(location.href, { cache: "no-store" }).then(reply => { if (reply.ok && since(arrived) > RELOAD_S) location.reload(); }).catch(() => {});
    }
  };
  const whole = seconds => seconds < 120 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;
  setInterval(judge, EVERY_MS);

  // Requests: one at a time, repeated with every receipt until it is answered.
  let request = "", requestId = "";
  const ask = (kind, text) => {
    requestId = `${Date.now()}-${Math.random().toString(36).slice(2)}`;
    request = JSON.stringify({ id: requestId, kind, text: (text || "").slice(0, at("mark-text").maxLength) });
    put(at("answer"), "…");
    if (asked !== null) asked.data = { taken: [panel.sequence], request: [request] };
  };
  at("mark-form").addEventListener("submit", event => {
    event.preventDefault();
    ask("mark", at("mark-text").value);
    at("mark-text").value = "";
  });
  at("acknowledge").addEventListener("click", () => ask("acknowledge"));
  let asking = 0;
  const sure = on => { at("sure").hidden = !on; clearTimeout(asking); if (on) asking = setTimeout(() => sure(false), 10000); };
  at("end").addEventListener("click", () => sure(true));
  at("end-no").addEventListener("click", () => sure(false));
  at("end-yes").addEventListener("click", () => { sure(false); ask("end"); });
  at("mark-text").value = sessionStorage.getItem("mark") || "";
  sessionStorage.removeItem("mark");

  // Day and night look; the figure is a canvas and has to be told.
  const LOCAL = { sync: false };  // a look is this browser's own affair
  const colour = name => getComputedStyle(document.body).getPropertyValue(name).trim();
  const dress = () => {
    if (figure !== null) {
      figure.setv({ background_fill_color: colour("--panel"), border_fill_color: colour("--panel"), outline_line_color: colour("--line") }, LOCAL);
      for (const axis of [...figure.below, ...figure.left]) {
        const ink = colour("--ink");
        axis.setv({ axis_line_color: ink, major_tick_line_color: ink, minor_tick_line_color: null, major_label_text_color: ink, axis_label_text_color: ink,
          major_label_text_font_size: "14px", axis_label_text_font_size: "14px", axis_label_text_font_style: "normal" }, LOCAL);
      }
      for (const grid of figure.center) if ("grid_line_color" in grid) grid.setv({ grid_line_color: colour("--line"), grid_line_alpha: 0.35 }, LOCAL);
      for (const renderer of figure.renderers) {
        const line = (panel ? panel.lines : []).find(row => row.glyph === renderer.name);
        if (line) renderer.glyph.setv({ line_color: colour(`--c${line.colour}`) }, LOCAL);
        else if (renderer.name === "marks") renderer.glyph.setv({ line_color: colour("--ink") }, LOCAL);
      }
    }
    at("legend").replaceChildren(...(panel ? panel.lines : []).map(line => {
      const row = document.createElement("span"), swatch = document.createElement("i");
      swatch.className = line.dash;
      swatch.style.borderColor = `var(--c${line.colour})`;
      row.append(swatch, line.label);
      return row;
    }));
  };
  const look = name => {
    document.body.dataset.look = name;
    put(at("look"), name === "day" ? "night look" : "day look");
    dress();
  };
  at("look").addEventListener("click", () => {
    const name = document.body.dataset.look === "day" ? "night" : "day";
    localStorage.setItem("look", name);
    look(name);
  });
  look(localStorage.getItem("look") || (matchMedia("(prefers-color-scheme: dark)").matches ? "night" : "day"));

  const begin = setInterval(() => {
    const model = window.Bokeh && window.Bokeh.documents.length ? window.Bokeh.documents[0] : null;
    if (model === null || model.get_model_by_name("told") === null) return;
    clearInterval(begin);
    told = model.get_model_by_name("told");
    asked = model.get_model_by_name("asked");
    figure = model.get_model_by_name("traces");
    told.connect(told.properties.data.change, () => show(told.data.panel[0]));
    dress();
    show(told.data.panel[0]);
  }, 50);
})();
