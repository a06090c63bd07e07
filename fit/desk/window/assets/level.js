// What the inputs hear: two meters to be read from a metre, the spectrum with the mains lines, one sentence of advice.

import { Chart } from "./chart.js";
import { el, fill, isTyping, say, trouble } from "./dom.js";
import { connect } from "./socket.js";

const [LOW_DB, HIGH_DB] = [-90, 0]; // ends of a meter
const MARKS_DB = [-80, -60, -40, -20, -6, 0];
const NAMES = { pickup: "Pickup", reference: "Reference" };
const SAID_EVERY_MS = 2000; // of a meter's text for those who listen to it

const place = (db) => Math.max(0, Math.min(1, ((db ?? LOW_DB) - LOW_DB) / (HIGH_DB - LOW_DB)));
const figure = (db) => (db === null || db <= -200 ? "−∞" : db.toFixed(1).replace("-", "−"));

class Meter {
  constructor(name, number) {
    const title = NAMES[name] ?? `Input ${number}`;
    this.value = el("span", { class: "figure" }, "–");
    this.clip = el("span", { class: "clip" }, "no clip");
    this.bar = el("div", { class: "bar" });
    this.peak = el("div", { class: "peak" });
    this.hold = el("div", { class: "hold" });
    this.scale = el("div", {
      class: "scale", role: "meter", "aria-label": `${title}, peak`, "aria-valuemin": String(LOW_DB), "aria-valuemax": String(HIGH_DB),
      "aria-valuenow": String(LOW_DB), "aria-valuetext": "not listening",
    }, this.bar, this.peak, this.hold);
    const marks = MARKS_DB.map((db) => {
      const mark = el("span", {}, String(db).replace("-", "−"));
      mark.style.left = `${100 * place(db)}%`;
      if (db === HIGH_DB) mark.style.transform = "translateX(-100%)";
      return mark;
    });
    this.node = el("section", { class: "meter", "aria-label": title },
      el("p", { class: "name" }, el("b", {}, title), this.clip),
      el("p", { class: "name" }, el("span", {}, this.value, el("span", { class: "unit" }, " dBFS")), this.rms = el("span", { class: "small" })),
      this.scale, el("p", { class: "marks", "aria-hidden": "true" }, marks));
    this.said = 0;
  }

  set({ rms_db, peak_db, hold_db, is_clipped }) {
    this.bar.style.transform = `scaleX(${place(rms_db)})`;
    this.peak.style.transform = `translateX(${100 * place(peak_db)}%)`;
    this.hold.style.transform = `translateX(${100 * place(hold_db)}%)`;
    this.value.textContent = figure(hold_db);
    this.rms.textContent = `held; now peak ${figure(peak_db)}, rms ${figure(rms_db)}`;
    this.clip.textContent = is_clipped ? "CLIPPED" : "no clip";
    this.clip.className = is_clipped ? "clip on" : "clip";
    if (performance.now() - this.said < SAID_EVERY_MS) return;
    this.said = performance.now();
    this.scale.setAttribute("aria-valuenow", String(Math.max(LOW_DB, Math.round(peak_db ?? LOW_DB))));
    this.scale.setAttribute("aria-valuetext", `${figure(peak_db)} dBFS${is_clipped ? ", clipped" : ""}`);
  }
}

const wire = connect();
let meters = [];
let what = null; // "tone", "quiet", or null where nothing is listened to
const advice = el("p", { class: "advice", role: "status" }, "Nothing is played.");
const play = el("button", { class: "main", type: "button", onclick: () => toggle("tone") });
const listen = el("button", { type: "button", onclick: () => toggle("quiet") });
const shown = el("div", { class: "meters" });
const picture = el("div");

fill(document.getElementById("page"), advice,
  el("div", { class: "row" }, play, listen),
  el("p", { class: "small" }, "The tone is quiet, yet begin with the output's knob low and headphones off the ears. ", el("kbd", {}, "Space"), " plays and stops, ", el("kbd", {}, "L"), " only listens."),
  el("div", { class: "two" }, shown, picture));
const chart = new Chart(picture, { label: "Spectrum of the inputs", y: "largest line in each band [dBFS]", floor_db: -140, digits: 0 });
chart.set({});

function label() {
  play.replaceChildren(what === "tone" ? "Stop" : "Play the quiet tone", el("kbd", {}, "Space"));
  listen.replaceChildren(what === "quiet" ? "Stop" : "Only listen", el("kbd", {}, "L"));
  play.setAttribute("aria-pressed", String(what === "tone"));
  listen.setAttribute("aria-pressed", String(what === "quiet"));
}

function toggle(wanted) {
  trouble("");
  const next = what === wanted ? null : wanted;
  if (what !== null) wire.send("level_stop");
  if (next !== null) wire.send("level_start", { what: next });
  what = next;
  advice.className = "advice";
  advice.textContent = next === null ? "Nothing is played." : "One moment …";
  label();
}

wire.on("refused", () => { what = null; label(); });

wire.on("level", ({ inputs, spectrum, advice: text, is_fine }) => {
  if (meters.length !== inputs.length) {
    meters = inputs.map(({ name }, index) => new Meter(name, index + 1));
    fill(shown, meters.map(({ node }) => node));
  }
  inputs.forEach((one, index) => meters[index].set(one));
  if (text && advice.textContent !== text) advice.textContent = text;
  advice.className = `advice ${is_fine ? "fine" : "look"}`;
  document.documentElement.dataset.levels = String(Number(document.documentElement.dataset.levels ?? 0) + 1);
  if (!spectrum) return;
  chart.set({
    frequency_hz: spectrum.frequency_hz,
    curves: spectrum.db.map((db, index) => ({ db, label: NAMES[inputs[index]?.name] ?? `input ${index + 1}`, style: index })),
    corners: spectrum.mains_hz.map((hz, index) => ({ hz, label: index ? "" : "mains" })),
  });
});

wire.on("level_ended", ({ text }) => {
  what = null;
  label();
  advice.className = "advice";
  if (text) advice.textContent = text;
});

wire.on("card", ({ owner, held_by }) => {
  play.disabled = listen.disabled = !owner && held_by !== null;
  if (!owner && what !== null) { what = null; label(); }
});

document.addEventListener("keydown", (event) => {
  if (isTyping(event) || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (event.target.closest?.("button,a,summary,.stage") && (event.key === " " || event.key === "Enter")) return;
  if (event.key === " ") { event.preventDefault(); toggle("tone"); }
  if (event.key.toLowerCase() === "l") toggle("quiet");
});

label();
say("");
