"use strict";
// What this browser prefers: day or night, far or near, size, units. Stored in this browser; only the units are sent to the server.
const Kept = {
  get(name) { try { return localStorage.getItem(`hotfuel ${name}`); } catch { return null; } },
  set(name, value) { try { localStorage.setItem(`hotfuel ${name}`, value); } catch { /* storage is off: the choice is lost */ } },
};
const Look = (() => {
  const at = id => document.getElementById(id);
  const changed = [];
  const data = document.body.dataset;
  const show = () => {
    at("look").textContent = data.look === "day" ? "night look" : "day look";
    at("view").textContent = data.view === "near" ? "far view" : "near view";
    at("units").textContent = data.units === "us" ? "show °C, kPa" : "show °F, psi";
    at("size").value = data.size;
    changed.forEach(call => call());
  };
  const choose = (name, value) => { data[name] = value; Kept.set(name, value); show(); };
  for (const [name, allowed] of [["look", ["day", "night"]], ["view", ["near", "far"]], ["size", ["0.85", "1", "1.25", "1.6", "2"]], ["units", ["us", "si"]]]) {
    const kept = Kept.get(name);
    if (allowed.includes(kept)) data[name] = kept;
    else if (name === "look" && matchMedia("(prefers-color-scheme: dark)").matches) data.look = "night";
  }
  at("look").addEventListener("click", () => choose("look", data.look === "day" ? "night" : "day"));
  at("view").addEventListener("click", () => choose("view", data.view === "near" ? "far" : "near"));
  at("units").addEventListener("click", () => choose("units", data.units === "us" ? "si" : "us"));
  at("size").addEventListener("change", () => choose("size", at("size").value));
  show();
  return { onChange: call => changed.push(call), units: () => data.units };
})();
