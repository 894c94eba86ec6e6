"use strict";
// Shows what the server sends, as text and never as markup. Whether it is still current is decided here, by this browser's own clock.
(() => {
  const STALE_S = 2, SILENT_S = 2, DEAF_S = 6, EVERY_MS = 100;
  if (window.top !== window.self) { document.documentElement.replaceChildren(); return; }
  const at = id => document.getElementById(id);
  const put = (element, text) => { if (element.textContent !== text) element.textContent = text; };
  const svg = path => `<svg viewBox="0 0 100 100" aria-hidden="true"><path d="${path}"/></svg>`;
  // The arrow shows how the margin moves: towards the limit, away from it, not at all; or that the fuel gives off vapour.
  const ARROWS = {
    closing: svg("M50 12 V86 M20 56 L50 86 L80 56"), opening: svg("M50 88 V14 M20 44 L50 14 L80 44"), level: svg("M12 50 H86 M58 22 L86 50 L58 78"),
    vapour: svg("M8 66 q14 -34 28 0 t28 0 t28 0 M30 24 h.1 M54 12 h.1 M72 28 h.1"), unknown: "",
  };
  const arrow = (element, kind) => {
    if (element.dataset.kind === kind) return;
    element.dataset.kind = kind;
    element.innerHTML = ARROWS[kind] || "";
  };
  let panel = null, arrived = null, socket = null, opened = null, wait = 500, old = true, quietedLoss = false, charting = false, said = null, brief = "", due = 0;
  const now = () => ({ steady: performance.now(), wall: Date.now() });
  // The steady clock may stop while a phone sleeps, the wall clock may be set: the longer of the two counts. The wall clock gives whole
  // milliseconds: a difference of two may be one too many, and nothing is old before its time.
  const since = mark => mark === null ? Infinity : Math.max(performance.now() - mark.steady, Date.now() - mark.wall - 1) / 1000;
  // The page's own record of the last time each happened, on its own clock: the browser's performance tools show it, and the tests read it there.
  const stamp = (name, startTime) => { performance.clearMarks(name); performance.mark(name, { startTime }); };
  const whole = seconds => seconds < 120 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;

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

  // Only a current reading can say "no warning" and "nothing to do"; every other state and action stays until the recording has ended.
  const told = row => old && !panel.live ? panel.instead.ended : old && row.key === "quiet" ? panel.instead.unread : row;
  const look = row => old && !panel.live ? "none" : row.key;

  const cards = new Map();
  const card = place => {
    const box = document.createElement("article"), made = { box };
    box.className = "place";
    box.dataset.place = place;
    const first = piece(box, "button", "first");
    first.type = "button";
    first.addEventListener("click", () => { first.setAttribute("aria-expanded", String(box.classList.toggle("open"))); });
    first.setAttribute("aria-expanded", "false");
    piece(first, "span", "sign");
    made.word = piece(first, "span", "word");
    made.name = piece(first, "span", "name");
    const much = piece(first, "span", "much");
    made.margin = piece(much, "span", "margin");
    made.arrow = piece(much, "span", "arrow");
    const more = piece(box, "div", "more");
    made.was = piece(more, "p", "was");
    const row = piece(more, "div", "row");
    for (const name of ["range", "trend", "eta", "temperature", "limit"]) made[name] = piece(row, name === "eta" ? "strong" : "span", name);
    for (const name of ["lost", "action", "history", "detail"]) made[name] = piece(more, "p", name);
    made.quieted = piece(more, "p", "quieted");
    made.quieting = piece(made.quieted, "button", "quieting");
    made.quieting.type = "button";
    made.quieting.addEventListener("click", () => { ask("quiet", { place }); first.focus(); });
    made.quietly = piece(made.quieted, "span", "quietly");
    made.chart = piece(more, "div", "chart");
    made.chart.id = `chart-${cards.size}-${Math.random().toString(36).slice(2, 7)}`;
    cards.set(place, made);
    return made;
  };
  const places = (rows, sound) => {
    const wanted = new Set(rows.map(row => row.place)), box = at("places");
    for (const [place, made] of cards) if (!wanted.has(place)) { made.box.remove(); cards.delete(place); }
    const held = document.activeElement;  // a card that moves must not take the keyboard focus with it
    rows.forEach((row, index) => {
      const made = cards.get(row.place) || card(row.place);
      if (box.children[index] !== made.box) box.insertBefore(made.box, box.children[index] || null);
      made.box.dataset.key = look(row);
      const dash = old || row.lost, blind = old || row.temperature === "–";
      put(made.word, told(row).word);
      put(made.name, row.name);
      put(made.margin, !row.limit ? (dash ? "–" : `${row.temperature} ${row.unit}`) : dash ? "–" : `${row.margin} ${row.difference} ${row.left}`);
      put(made.was, blind ? row.was : "");
      put(made.range, dash || !row.range ? "" : `(${row.range})`);
      put(made.trend, dash ? "" : row.trend);
      put(made.eta, dash ? "" : row.eta);
      put(made.temperature, blind ? "now –" : `now ${row.temperature} ${row.unit}`);
      put(made.limit, !row.limit ? "" : old ? "limit –" : `limit ${row.limit}`);
      put(made.lost, old ? "" : row.lost);
      put(made.action, row.key === "quiet" || index === 0 || (old && !panel.live) ? "" : row.action);  // the first one's is in the headline
      put(made.history, old ? "" : row.history);
      put(made.detail, old ? "" : [row.indicative, row.detail].filter(Boolean).join("; "));
      arrow(made.arrow, dash ? "unknown" : row.arrow);
      made.chart.hidden = !row.limit;
      const quieted = sound.places[row.place];
      made.quieted.hidden = quieted === undefined || !panel.live;
      made.quieting.hidden = Boolean(quieted);
      put(made.quieting, `Quiet ${row.name}`);
      put(made.quietly, quieted ? `sound quieted ${quieted}` : "");
    });
    if (held !== document.activeElement && box.contains(held)) held.focus({ preventScroll: true });
  };
  const headline = head => {
    const dash = old || Boolean(head.lost);
    at("head").dataset.key = look(head);
    at("head").toggleAttribute("data-dash", dash);
    put(at("head-place"), head.name);
    put(at("head-margin"), dash ? "–" : head.margin);
    put(at("head-unit"), dash ? "" : head.difference);
    put(at("head-left"), dash ? "" : head.left);
    put(at("head-lost"), old ? "" : head.lost);
    put(at("head-was"), old || head.temperature === "–" ? head.was : dash ? `now ${head.temperature} ${head.unit}` : "");
    put(at("head-range"), dash ? "" : head.range ? `range ${head.range}` : head.word ? head.note : "");
    put(at("head-trend"), dash ? "" : head.trend);
    put(at("head-eta"), dash ? "" : head.eta);
    put(at("head-history"), old ? "" : head.history);
    const doing = told(head);
    put(at("head-word"), doing.word || head.note || "");
    put(at("head-short"), doing.short);
    put(at("head-action"), doing.action);
    arrow(at("head-arrow"), dash ? "unknown" : head.arrow);
  };

  // Everything shown is from the same moment, or nothing is shown as current.
  const draw = () => {
    if (panel === null) return;
    headline(panel.head);
    places(panel.places, panel.sound);
    put(at("name"), panel.name);
    put(at("time"), panel.time);
    put(at("driver"), panel.driver);
    put(at("caution"), panel.caution);
    put(at("band"), panel.band);
    list(at("flags"), "li", old ? [] : panel.flags);
    list(at("marks"), "li", panel.marks.map(mark => `${mark.time}  ${mark.text}`));
    at("restart").hidden = old || !panel.restart;
    put(at("restart"), panel.restart);
    at("pull").hidden = old || !panel.pull;
    put(at("pull"), panel.pull);
    at("forecast").hidden = old || !panel.forecasts.rows.length;
    put(at("forecast-title"), panel.forecasts.title);
    put(at("forecast-note"), panel.forecasts.note);
    pairs(at("forecast-rows"), panel.forecasts.rows);
    pairs(at("health-rows"), old ? panel.health.map(row => ({ name: row.name, text: "– not current" })) : panel.health);
    list(at("notes"), "li", panel.notes);
    const live = panel.live && socket !== null && socket.readyState === 1;
    at("end").disabled = !live;
    at("end").hidden = !panel.live;
    put(at("end-why"), live ? "" : panel.live ? "no word from the recording computer" : "the recording has ended");
    if (old && window.Charts) window.Charts.old();
    sounding();
    speak();
  };
  const sounding = () => {
    const alarmed = panel !== null && panel.live && Object.keys(panel.sound.places).length > 0;
    const lost = alarmed && old && !panel.reading;
    if (!lost) quietedLoss = false;
    Sound.want(lost ? (quietedLoss ? "" : "heed") : panel !== null && panel.live && !panel.reading ? panel.sound.pattern : "");
    const loud = lost ? !quietedLoss : alarmed && panel.sound.pattern !== "";
    at("quiet").disabled = !loud;
    put(at("quiet-why"), loud ? "" : alarmed ? `quieted ${Object.values(panel.sound.places).filter(Boolean).sort().pop() || ""}`.trim() : "nothing to quiet");
    const can = Sound.running();
    put(at("sound"), can ? "sound on: test" : "sound off: turn on");
    at("sound-off").hidden = can;
    at("sound-off").classList.toggle("due", loud);
  };
  // Spoken only when a state changes, or when readings stop and come back.
  const speak = () => {
    const states = old ? "readings are not current" : panel.places.filter(row => !["quiet", "none"].includes(row.key)).map(row => `${row.word}, ${row.name}`).join("; ");
    if (states === said) return;
    said = states;
    put(at("spoken"), old ? `${brief}. ${panel.head.was}` : states ? `${states}. ${panel.head.action}` : "no warning");
  };

  // A number's age: that of its reading when it was sent, plus the time since then.
  const judge = () => {
    const silent = since(arrived);
    const age = panel === null || panel.age_s === null ? Infinity : panel.age_s + silent;
    const ended = panel !== null && !panel.live && !panel.reading;
    const over = ended && panel.last === true;  // the server said that it ends with the recording, so silence is expected
    let words = "", check = "";
    brief = "NOT CURRENT";  // what is spoken of it, without the times
    if (panel === null) {
      brief = "Waiting for the recording computer";
      words = `${brief}.`;
    }
    else if (silent > SILENT_S && !over && !(arrived === null && panel.reading)) [words, check] = [`${brief}: no word from the recording computer for ${whole(silent)}. Last: ${panel.time}.`, "Check that it is awake, and this device's network."];
    else if (panel.reading) words = brief = panel.reading;
    else if (ended) {
      brief = "This recording has ended";
      words = `${brief}, ${panel.day}${panel.time}.`;
    }
    else if (age === Infinity) {
      brief = "Waiting for the first reading of the board";
      [words, check] = [`${brief}.`, panel.check];
    }
    else if (age > STALE_S) [words, check] = [`${brief}: last reading ${whole(age)} ago, at ${panel.time}.`, panel.check];
    const before = old;
    old = words !== "";
    if (before !== old) stamp(old ? "stale" : "current", performance.now());
    document.body.classList.toggle("old", old);
    document.body.classList.toggle("ended", ended && (over || silent <= SILENT_S));
    put(at("link"), old ? "not current" : "receiving");
    at("alert").hidden = !old;
    put(at("alert-words"), words);
    put(at("alert-check"), check);
    if (before !== old) draw(); else sounding();
    if (silent > DEAF_S && socket !== null && since(opened) > DEAF_S) socket.close();
  };

  const take = text => {
    let next = null;
    try { next = JSON.parse(text); } catch { return; }
    if (next === null || !Number.isInteger(next.sequence)) return;
    panel = next;
    arrived = now();
    stamp("reading", panel.age_s === null ? 0 : Math.max(0, arrived.steady - 1000 * panel.age_s));
    clearTimeout(due);
    if (panel.age_s !== null) due = setTimeout(judge, Math.max(0, 1000 * (STALE_S - panel.age_s)) + 1);  // as soon as it is due
    tell({ taken: panel.sequence });
    Marks.hear(panel.time, panel.age_s);
    Marks.take(panel.answers, panel.live);
    for (const answer of panel.answers) if (answer.id === askedId) put(at("answer"), answer.words);
    judge();
    draw();
    if (!charting) chart();
    if (panel.points && window.Charts) window.Charts.take(panel.points, [...cards].map(([place, made]) => [place, made.chart]), panel.places);
    if (old && window.Charts) window.Charts.old();
  };
  const tell = what => {
    if (socket === null || socket.readyState !== 1) return false;
    socket.send(JSON.stringify(what));
    return true;
  };
  const connect = () => {
    const path = location.pathname.replace(/\/$/, "");
    socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${path}/live`);
    opened = now();
    const mine = socket;
    socket.addEventListener("open", () => { wait = 500; tell({ units: Look.units(), charts: Boolean(window.Charts) }); Marks.push(); });
    socket.addEventListener("message", event => { if (mine === socket) take(event.data); });
    socket.addEventListener("close", () => { setTimeout(connect, wait); wait = Math.min(2 * wait, 8000); });
  };

  let askedId = "";
  const ask = (kind, more) => {
    askedId = `${Date.now()}-${Math.random().toString(36).slice(2)}`;
    const sent = tell({ ask: JSON.stringify({ id: askedId, kind, ...more }) });
    put(at("answer"), sent ? "…" : "no answer from the recording computer: try again when it is back");
  };
  Marks.through(asked => tell({ ask: JSON.stringify(asked) }));
  const mark = text => put(at("answer"), `Mark: ${Marks.add(text)}`);
  const own = () => { mark(at("mark-text").value); at("mark-text").value = ""; Kept.set("word", ""); };
  at("mark").addEventListener("click", own);
  at("quick").addEventListener("click", event => { if (event.target.dataset.mark) mark(event.target.dataset.mark); });
  at("mark-form").addEventListener("submit", event => { event.preventDefault(); own(); });
  at("mark-text").addEventListener("input", () => Kept.set("word", at("mark-text").value));
  at("mark-text").value = Kept.get("word") || "";
  at("quiet").addEventListener("click", () => {
    if (old) { quietedLoss = true; sounding(); put(at("answer"), "sound quieted until readings are back"); } else ask("quiet", {});
  });
  at("sound").addEventListener("click", async () => { if (!await Sound.arm()) put(at("answer"), "this browser does not allow sound here"); });
  Sound.onChange(() => sounding());
  let asking = 0;
  const sure = on => { at("sure").hidden = !on; clearTimeout(asking); if (on) { at("end-no").focus(); asking = setTimeout(() => sure(false), 10000); } };
  at("end").addEventListener("click", () => sure(true));
  at("end-no").addEventListener("click", () => sure(false));
  at("end-yes").addEventListener("click", () => { sure(false); ask("end", {}); });
  Look.onChange(() => { tell({ units: Look.units() }); roomy(); });
  const roomy = () => {
    document.documentElement.style.setProperty("--thumb", `${at("thumb").offsetHeight + 8}px`);
    if (window.Charts) window.Charts.dress();  // their letters grow with the page's
  };
  new ResizeObserver(roomy).observe(at("thumb"));

  // The charts' script is large, so it is loaded after the numbers.
  const chart = () => {
    charting = true;
    const base = location.pathname.replace(/\/$/, "");
    const load = (name, then) => {
      const script = document.createElement("script");
      script.src = `${base}/${name}`;
      script.onload = then;
      script.onerror = () => { script.remove(); setTimeout(() => load(name, then), 10000); };
      document.head.append(script);
    };
    load("bokeh.js", () => load("charts.js", () => { window.Charts.base = base; tell({ charts: true }); }));
  };
  setInterval(judge, EVERY_MS);
  for (const name of ["visibilitychange", "pageshow", "focus"]) window.addEventListener(name, judge, true);  // a sleeping tab's timers are late: judge before it is seen
  // A recording that had ended before the page was opened is shown at once, or how far it is read: nothing of it will change.
  if (at("first") !== null) panel = JSON.parse(at("first").textContent);
  judge();
  draw();
  connect();
})();
