"use strict";
// Marks are stored in this browser until the server confirms that the recording has them, across a lost link, a reload or a server restart.
// Each carries its age instead of a time, so that the clocks need not agree.
const Marks = (() => {
  const AGAIN_MS = 3000;
  const at = id => document.getElementById(id);
  const session = document.body.dataset.session;
  let queue = [], send = () => false, live = true;
  try { queue = JSON.parse(Kept.get("marks") || "[]"); } catch { queue = []; }
  if (!Array.isArray(queue)) queue = [];
  queue = queue.filter(mark => mark && typeof mark.id === "string" && typeof mark.text === "string" && Number.isFinite(mark.wall)).slice(-500);
  for (const mark of queue) mark.sent = 0;
  const keep = () => Kept.set("marks", JSON.stringify(queue));
  // Times are the recording computer's, as far as it has told one; this device's clock may be wrong, and says whose it is.
  let told = null;  // {s: seconds of its time of day, end: what stands behind it, steady, wall: when}
  const two = number => String(number).padStart(2, "0");
  const clock = mark => {
    if (mark.said) return mark.said;
    return `${new Date(mark.wall).toTimeString().slice(0, 8)} by this device`;
  };
  const moment = () => {
    if (told === null) return "";
    const s = Math.floor(told.s + Math.max(performance.now() - told.steady, Date.now() - told.wall) / 1000);
    return `${told.end ? Math.floor(s / 3600) : two(Math.floor(s / 3600) % 24)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}${told.end}`;
  };
  // time: of the last reading, as the page shows it; age_s: how old that was when it was told
  const hear = (time, age_s) => {
    const found = /^(\d+):(\d\d):(\d\d)( h)?$/.exec(time);
    if (found === null || age_s === null) return;
    told = { s: 3600 * found[1] + 60 * found[2] + Number(found[3]) + age_s, end: found[4] || "", steady: performance.now(), wall: Date.now() };
  };
  const age = mark => Math.max(0, mark.origin === performance.timeOrigin ? (performance.now() - mark.steady) / 1000 : (Date.now() - mark.wall) / 1000);
  const draw = () => {
    at("waiting").replaceChildren(...queue.map(mark => {
      const row = document.createElement("li");
      const words = mark.session !== session ? "of another recording, not sent" : mark.refused ? `not in the recording: ${mark.refused}` : "waiting";
      row.append(`${clock(mark)}  ${mark.text}: ${words} `);
      if (mark.session !== session || mark.refused) {
        const forget = document.createElement("button");
        forget.type = "button";
        forget.textContent = "forget it";
        forget.addEventListener("click", () => { queue = queue.filter(other => other !== mark); keep(); draw(); });
        row.append(forget);
      }
      return row;
    }));
  };
  const push = () => {
    for (const mark of queue) {
      if (mark.session !== session || mark.refused || Date.now() - mark.sent < AGAIN_MS) continue;
      if (!send({ id: mark.id, kind: "mark", text: mark.text, age_s: age(mark) })) return;
      mark.sent = Date.now();
    }
  };
  const add = text => {
    const mark = { id: `${Date.now()}-${Math.random().toString(36).slice(2)}`, text: text.trim() || "mark", wall: Date.now(), said: moment(), steady: performance.now(),
      origin: performance.timeOrigin, session, sent: 0 };
    queue.push(mark);
    keep();
    draw();
    push();
    return `${mark.text}, ${clock(mark)}`;
  };
  const take = (answers, isLive) => {
    live = isLive;
    let touched = false;
    for (const answer of answers) {
      const mark = queue.find(other => other.id === answer.id);
      if (!mark) continue;
      if (answer.kept) { queue = queue.filter(other => other !== mark); touched = true; }
      else if (!answer.done && !live && mark.refused !== answer.words) { mark.refused = answer.words; touched = true; }
    }
    if (touched) { keep(); draw(); }
  };
  setInterval(push, 1000);
  draw();
  return { add, take, hear, push, through(call) { send = call; }, waiting: () => queue.length };
})();
