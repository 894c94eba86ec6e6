"use strict";
// Marks are kept in this browser until the server says that the recording has them: through a lost link, a reload, a server that starts anew.
// Each carries the moment of its touch, as an age, so that clocks need not agree.
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
  const clock = wall => new Date(wall).toTimeString().slice(0, 8);
  const age = mark => Math.max(0, mark.origin === performance.timeOrigin ? (performance.now() - mark.steady) / 1000 : (Date.now() - mark.wall) / 1000);
  const draw = () => {
    at("waiting").replaceChildren(...queue.map(mark => {
      const row = document.createElement("li");
      const words = mark.session !== session ? "of another recording, not sent" : mark.refused ? `not in the recording: ${mark.refused}` : "waiting";
      row.append(`${clock(mark.wall)}  ${mark.text}: ${words} `);
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
    const mark = { id: `${Date.now()}-${Math.random().toString(36).slice(2)}`, text: text.trim() || "mark", wall: Date.now(), steady: performance.now(),
      origin: performance.timeOrigin, session, sent: 0 };
    queue.push(mark);
    keep();
    draw();
    push();
    return `${mark.text}, ${clock(mark.wall)}`;
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
  return { add, take, push, through(call) { send = call; }, waiting: () => queue.length };
})();
