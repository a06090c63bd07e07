// What a person changes of the instrument: controls, parts, leads, layout. Its state is what `predict` is told by options, and the
// page's link; what can be chosen comes with each answer of the program.

import { el, fill } from "./dom.js";

const STEPS = 1000; // of a slider
const PREFIXES = [[1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "u"], [1e-9, "n"], [1e-12, "p"]];
const KINDS = { pickup: "Pickups", pot: "Pots", capacitor: "Capacitors", resistor: "Resistors", cable: "Cable and input" };
const LISTS = ["solder", "move", "at"];
const PAIRS = ["set", "change"];
const WORDS = ["layout", "pickup", "cable"];
const CABLE = "input.capacitance";

export const empty = () => ({ set: {}, change: {}, solder: [], move: [], layout: "", pickup: "", cable: "", at: [] });

// The link of a page's settings: #set.volume=7&change.capacitor.tone=10n&solder=volume%3D1n2
export function readLink(hash) {
  const state = empty();
  for (const [key, value] of new URLSearchParams(hash.replace(/^#/, ""))) {
    const pair = PAIRS.find((one) => key.startsWith(`${one}.`));
    if (pair) state[pair][key.slice(pair.length + 1)] = value;
    else if (LISTS.includes(key)) state[key].push(value);
    else if (WORDS.includes(key)) state[key] = value;
  }
  return state;
}

export function linkOf(state) {
  const out = new URLSearchParams();
  for (const pair of PAIRS) for (const [key, value] of Object.entries(state[pair])) out.append(`${pair}.${key}`, value);
  for (const key of LISTS) for (const value of state[key]) out.append(key, value);
  for (const key of WORDS) if (state[key]) out.append(key, state[key]);
  return `#${out}`;
}

// A value as a person would type it; henries, ratios and hertz go without small prefixes.
export function typed(value, unit) {
  if (unit === "" || unit === "H") return String(Number(value.toPrecision(3)));
  const [size, prefix] = PREFIXES.find(([one]) => Math.abs(value) >= one * 0.9995) ?? PREFIXES.at(-1);
  return `${Number((value / size).toPrecision(3))}${prefix}`;
}

// Asks one question at a time, and the newest next: what was overtaken is never asked. Done when all that was asked is answered.
export function newest(ask) {
  let running = null;
  let waiting = null;
  const run = async (given) => {
    await ask(...given);
    while (waiting) {
      const later = waiting;
      waiting = null;
      await ask(...later);
    }
  };
  return (...given) => {
    if (running) waiting = given;
    else running = run(given).finally(() => { running = null; });
    return running;
  };
}

const toSlider = ([low, high], value) =>
  Math.round(STEPS * (low > 0 ? Math.log(value / low) / Math.log(high / low) : (value - low) / (high - low)));
const fromSlider = ([low, high], step) => (low > 0 ? low * (high / low) ** (step / STEPS) : low + ((high - low) * step) / STEPS);

class Part {
  constructor(part, board) {
    Object.assign(this, { part, board });
    this.name = el("span", { class: "name" }, part.label);
    this.field = el("input", {
      type: "text", "aria-label": part.label, autocomplete: "off", spellcheck: "false", maxlength: "80",
      onchange: () => this.type(this.field.value.trim()), onblur: () => this.show(this.part, board.state),
    });
    this.slider = el("input", {
      type: "range", min: "0", max: String(STEPS), step: "1", "aria-label": `${part.label}, slider`,
      oninput: (event) => {
        this.field.value = typed(fromSlider(this.part.ends, this.slider.valueAsNumber), this.part.unit);
        board.change(this.part.key, this.field.value, event.timeStamp);
      },
    });
    this.origin = el("span", { class: "small" });
    this.back = el("button", { type: "button", class: "small", onclick: () => this.type("") }, "As it is");
    this.back.setAttribute("aria-label", `${part.label} as it is`);
    this.node = el("div", { class: "part" }, el("label", {}, this.name, this.field), this.slider, el("p", { class: "row" }, this.origin, this.back));
  }

  type(text) {
    this.board.change(this.part.key, text);
  }

  show(part, state) {
    this.part = part;
    const own = part.key === CABLE && state.cable ? state.cable : state.change[part.key];
    if (document.activeElement !== this.field) this.field.value = own ?? part.text;
    if (document.activeElement !== this.slider && part.value !== null && part.ends[0] < part.ends[1]) this.slider.value = String(toSlider(part.ends, part.value));
    this.slider.setAttribute("aria-valuetext", part.text || "not known");
    this.slider.hidden = part.value === null || part.ends[0] === part.ends[1];
    this.origin.textContent = part.is_heard ? part.origin : `${part.origin}; not heard as the controls stand`;
    this.back.hidden = own === undefined;
    this.node.classList.toggle("changed", own !== undefined);
    this.node.classList.toggle("unheard", !part.is_heard);
  }
}

class Pot {
  constructor({ name }, board) {
    this.name = name;
    this.slider = el("input", {
      type: "range", min: "0", max: "10", step: "0.1", "aria-label": `${name}, from 0 to 10`,
      oninput: (event) => { this.field.value = this.slider.value; board.turn(name, this.slider.value, event.timeStamp); },
    });
    this.field = el("input", {
      type: "text", "aria-label": name, autocomplete: "off", maxlength: "12", class: "short",
      onchange: () => board.turn(name, this.field.value.trim() || "10"), onblur: () => { this.field.value = board.state.set[name] ?? this.at; },
    });
    this.said = el("span", { class: "small" });
    this.node = el("div", { class: "part" }, el("label", {}, el("span", { class: "name" }, name), this.field), this.slider, el("p", { class: "row" }, this.said));
  }

  show({ at, text }) {
    this.at = at;
    if (document.activeElement !== this.field) this.field.value = at;
    if (document.activeElement !== this.slider && !at.endsWith("%")) this.slider.value = at;
    const share = /\(([^)]*)\)/.exec(text)?.[1];
    this.said.textContent = share ? `${share} of the track` : "share of the track";
    this.slider.setAttribute("aria-valuetext", share ? `${at}, ${share} of the track` : at);
  }
}

class Choice {
  constructor({ name, positions }, board) {
    this.buttons = positions.map((position) => [position, el("input", { type: "radio", name: `set-${name}`, value: position, onchange: (event) => board.turn(name, position, event.timeStamp) })]);
    this.node = el("fieldset", { class: "positions" }, el("legend", {}, name), this.buttons.map(([position, input]) => el("label", { class: "choice" }, input, position)));
  }

  show({ at }) {
    for (const [position, input] of this.buttons) input.checked = position === at;
  }
}

export class Board {
  // onChange(state, time of the event that did it)
  constructor(node, onChange) {
    Object.assign(this, { node, onChange, state: empty(), answer: null, asked: empty(), shape: "", controls: new Map(), parts: new Map() });
    this.controlled = el("section", { "aria-label": "Controls" });
    this.valued = el("section", { "aria-label": "Parts" });
    this.wired = el("section", { "aria-label": "Wiring" });
    fill(node, el("h2", {}, "Controls"), this.controlled, el("h2", {}, "Parts"), this.valued, this.wired);
  }

  changed(time) {
    this.onChange(this.state, time ?? performance.now());
  }

  turn(name, value, time) {
    this.state.set[name] = value;
    this.changed(time);
  }

  change(key, text, time) {
    const keys = key === CABLE ? [this.state, "cable"] : [this.state.change, key];
    if (text) keys[0][keys[1]] = text;
    else if (key === CABLE) this.state.cable = "";
    else delete this.state.change[key];
    this.changed(time);
  }

  // What was refused is not kept: what was asked last and was answered holds.
  takeBack() {
    if (this.answer) this.state = structuredClone(this.asked);
    return this.answer;
  }

  // What is asked for from now on is asked beside what was answered so.
  keep(answer, asked) {
    Object.assign(this, { answer, asked });
  }

  show(answer, asked) {
    this.keep(answer, asked);
    const shape = JSON.stringify([answer.controls.map(({ name, positions }) => [name, positions]), answer.parts.map(({ key }) => key), answer.board, this.state.solder, this.state.move, this.state.layout]);
    if (shape !== this.shape) this.rebuild(answer);
    this.shape = shape;
    for (const control of answer.controls) this.controls.get(control.name).show(control);
    for (const part of answer.parts) this.parts.get(part.key)?.show(part, this.state);
    this.pickup.value = this.state.pickup;
    if (document.activeElement !== this.at) this.at.value = this.state.at.join(", ");
  }

  rebuild({ controls, parts, board }) {
    const focus = document.activeElement?.getAttribute?.("aria-label");
    this.controls = new Map(controls.map((one) => [one.name, one.positions.length ? new Choice(one, this) : new Pot(one, this)]));
    const option = (value, text = value) => el("option", { value }, text);
    this.pickup = el("select", { onchange: () => { this.state.pickup = this.pickup.value; this.changed(); } }, option("", "all that are connected"), board.pickups.map((one) => option(one)));
    this.at = el("input", { type: "text", placeholder: "E2, A2, E4, A4, D6, E7", autocomplete: "off", onblur: () => { this.at.value = this.state.at.join(", "); }, onchange: () => { this.state.at = this.at.value.split(",").map((one) => one.trim()).filter(Boolean); this.changed(); } });
    fill(this.controlled, [...this.controls.values()].map(({ node }) => node),
      el("div", { class: "part" }, el("label", {}, el("span", { class: "name" }, "listened to"), this.pickup)),
      el("div", { class: "part" }, el("label", {}, el("span", { class: "name" }, "levels at these notes or frequencies"), this.at)));
    this.parts = new Map(parts.map((one) => [one.key, new Part(one, this)]));
    const groups = Object.entries(KINDS).map(([kind, title]) => [title, parts.filter((one) => one.kind === kind)]).filter(([, own]) => own.length);
    fill(this.valued, groups.map(([title, own], index) => el("details", { open: index > 0 || own.some(({ value }) => value === null) }, el("summary", {}, el("h3", {}, title)), own.map(({ key }) => this.parts.get(key).node))));
    fill(this.wired, this.wiring(board));
    if (focus) [...this.node.querySelectorAll("[aria-label]")].find((one) => one.getAttribute("aria-label") === focus)?.focus();
  }

  wiring({ layouts, leads, points, places }) {
    const option = (value, text = value) => el("option", { value }, text);
    const layout = el("select", { onchange: () => { this.state.layout = layout.value; this.state.solder = []; this.state.move = []; this.changed(); } }, option("", "as your instrument is wired"), Object.entries(layouts).map(([name, text]) => option(name, text)));
    layout.value = this.state.layout;
    const place = el("select", {}, places.map((one) => option(one)));
    place.value = places.find((one) => one.startsWith("pot.volume")) ?? places[0];
    const what = el("input", { type: "text", placeholder: "1n2 + 150k", autocomplete: "off", maxlength: "120" });
    const lead = el("select", {}, leads.map((one) => option(one)));
    const point = el("select", {}, points.map((one) => option(one)));
    const add = (event) => {
      event.preventDefault();
      if (what.value.trim()) this.put("solder", `${place.value}=${what.value.trim()}`);
    };
    const move = (event) => {
      event.preventDefault();
      this.put("move", `${lead.value}=${point.value}`);
    };
    const volume = places.find((one) => one.startsWith("pot.volume"));
    const capacitor = places.find((one) => one.startsWith("capacitor."));
    const ready = [
      volume ? ["Treble bleed", `${volume.slice(4)}=1n2 + 150k`] : null,
      capacitor ? ["A second capacitor beside it", `${capacitor}=10n`] : null,
    ].filter(Boolean);
    const made = ["solder", "move"].flatMap((list) => this.state[list].map((text) => el("li", {}, list === "move" ? `moved ${text}` : `added ${text}`, el("button", { type: "button", class: "small", "aria-label": `Take back ${text}`, onclick: () => this.take(list, text) }, "Take back"))));
    const labelled = (text, node) => el("label", {}, el("span", { class: "name" }, text), node);
    return el("details", { open: made.length > 0 || this.state.layout !== "" }, el("summary", {}, el("h2", {}, "Solder: parts added, leads moved, another layout")),
      made.length ? el("ul", { class: "made" }, made) : null,
      el("div", { class: "row" }, ready.map(([text, added]) => el("button", { type: "button", onclick: () => this.put("solder", added) }, text))),
      el("form", { class: "row", onsubmit: add }, labelled("across", place), labelled("parts", what), el("button", {}, "Solder in")),
      el("form", { class: "row", onsubmit: move }, labelled("lead", lead), labelled("to", point), el("button", {}, "Move")),
      el("div", { class: "row" }, labelled("wired as", layout)));
  }

  put(list, text) {
    if (!this.state[list].includes(text)) this.state[list].push(text);
    this.changed();
  }

  take(list, text) {
    this.state[list] = this.state[list].filter((one) => one !== text);
    this.changed();
  }
}

// What was chosen last, on whichever page, stands in the link and goes along to the page that shows it in another way.
export function keepLink(state) {
  history.replaceState(null, "", linkOf(state));
  for (const link of document.querySelectorAll('a[href^="/what-if"],a[href^="/listen"]')) {
    link.setAttribute("href", link.getAttribute("href").replace(/#.*$/, "") + linkOf(state));
  }
}

export async function copy(text, done) {
  await navigator.clipboard.writeText(text);
  done();
}

// Another logbook was opened, on this page or another, or a job has come to its end: what was read is read anew.
export function onNews(wire, fn) {
  let book;
  wire.on("welcome", ({ logbook }) => {
    if (book !== undefined && book !== logbook) fn();
    book = logbook;
  });
  wire.on("guide_done", () => fn());
}
