"use strict";
// Two patterns told apart by rhythm: "act" three short ones each second, "heed" one long one every three seconds. Each is one piece of sound that
// repeats by itself, so that no busy page and no hidden tab can bend its rhythm. A browser lets a page sound only after a touch: until then "sound off".
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
  let context = null, meter = null, playing = null, wanted = "", testing = 0;
  const changed = [];
  const running = () => context !== null && context.state === "running";
  const follow = () => {
    const due = running() && performance.now() > testing ? wanted : "";
    if (playing !== null && playing.name !== due) { playing.source.stop(); playing = null; }
    if (due && playing === null) {
      playing = { name: due, source: begin(context, due, meter, true) };
      playing.source.start();
    }
    changed.forEach(call => call());
  };
  const arm = async () => {
    if (context === null) {
      const Made = window.AudioContext || window.webkitAudioContext;
      if (!Made) return;
      context = new Made();
      meter = context.createAnalyser();
      meter.fftSize = 2048;
      meter.connect(context.destination);
      context.addEventListener("statechange", follow);
    }
    try { await context.resume(); } catch { return follow(); }
    if (wanted === "") { // a test: each pattern once
      testing = performance.now() + 2200;
      const first = begin(context, "act", meter, false), second = begin(context, "heed", meter, false);
      first.start();
      second.start(context.currentTime + 1.2);
      second.stop(context.currentTime + 2.0);
      setTimeout(follow, 2300);
    }
    follow();
  };
  return {
    arm,
    want(name) { if (name !== wanted) { wanted = name; follow(); } },
    running,
    playing: () => (playing === null ? "" : playing.name),
    onChange: call => changed.push(call),
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
