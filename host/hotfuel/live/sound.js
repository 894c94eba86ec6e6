"use strict";
// Two patterns told apart by rhythm: "act" three short ones each second, "heed" one long one every three seconds. Each is one piece of sound that
// repeats by itself, so that neither a busy page nor a hidden tab disturbs its rhythm. A browser lets a page sound only after a touch: until then "sound off".
const Sound = (() => {
  const PATTERNS = {
    act: { period: 1, hertz: 990, pulses: [[0, 0.12], [0.2, 0.12], [0.4, 0.12]] },
    heed: { period: 3, hertz: 560, pulses: [[0, 0.6]] },
  };
  const LEVEL = 0.6, RAMP = 0.008;
  const piece = (context, name) => {
    const { period, hertz, pulses } = PATTERNS[name];
    const rate = context.sampleRate, buffer = context.createBuffer(1, Math.round(period * rate), rate), data = buffer.getChannelData(0);
    for (const [start, length] of pulses) {
      for (let index = 0; index < length * rate; index++) {
        const time = index / rate, edge = Math.min(1, time / RAMP, (length - time) / RAMP);
        const wave = Math.sin(2 * Math.PI * hertz * time) + 0.4 * Math.sin(6 * Math.PI * hertz * time);
        data[Math.round(start * rate) + index] = LEVEL * edge * wave / 1.4;
      }
    }
    return buffer;
  };
  const begin = (context, name, out, loop) => {
    const source = context.createBufferSource();
    source.buffer = piece(context, name);
    source.loop = loop;
    source.connect(out);
    return source;
  };
  let context = null, meter = null, playing = null, wanted = "", tested = [];
  const changed = [];
  const running = () => context !== null && context.state === "running";
  const follow = () => {
    const due = running() ? wanted : "";
    if (due) { tested.forEach(source => source.stop()); tested = []; }  // an alarm does not wait for a test
    if (playing !== null && playing.name !== due) { playing.source.stop(); playing = null; }
    if (due && playing === null) {
      playing = { name: due, source: begin(context, due, meter, true) };
      playing.source.start();
    }
    changed.forEach(call => call());
  };
  const open = () => {
    const Made = window.AudioContext || window.webkitAudioContext;
    if (context !== null || !Made) return;
    try { context = new Made(); } catch { return; }
    meter = context.createAnalyser();
    meter.fftSize = 2048;
    meter.connect(context.destination);
    context.addEventListener("statechange", follow);
  };
  // True once the page can sound, and false where this browser gives none, or not within a second.
  const resume = async () => {
    open();
    if (context === null) return false;
    try { await Promise.race([context.resume(), new Promise(done => setTimeout(done, 1000))]); } catch { /* its state says so */ }
    follow();
    return running();
  };
  const arm = async () => {
    const can = await resume();
    if (can) Kept.set("sound", "on");
    if (can && wanted === "") { // a test: each pattern once
      tested.forEach(source => source.stop());
      tested = ["act", "heed"].map(name => begin(context, name, meter, false));
      tested[0].start();
      tested[1].start(context.currentTime + 1.2);
      tested[1].stop(context.currentTime + 2.0);
    }
    return can;
  };
  // After a reload the browser wants a touch again: where sound was on, any touch will do.
  if (Kept.get("sound") === "on") {
    open();
    for (const touch of ["pointerup", "keyup"]) window.addEventListener(touch, () => { if (!running()) resume(); }, { capture: true });
  }
  return {
    arm,
    want(name) { if (name !== wanted) { wanted = name; follow(); } },
    running,
    playing: () => (playing === null ? "" : playing.name),
    onChange: call => changed.push(call),
    at: () => (context === null ? 0 : context.currentTime),
    // For tests: what the loudspeaker gets, worked out by the browser ahead of time; and how loud it is at this moment.
    async render(name, seconds) {
      const offline = new OfflineAudioContext(1, seconds * 44100, 44100);
      begin(offline, name, offline.destination, true).start();
      return Array.from((await offline.startRendering()).getChannelData(0));
    },
    level() {
      if (meter === null) return 0;
      const data = new Float32Array(meter.fftSize);
      meter.getFloatTimeDomainData(data);
      return Math.max(...data.map(Math.abs));
    },
  };
})();
