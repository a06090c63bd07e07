// What the instrument would do: every control and part at hand, the curve with its band at once, a ghost to compare with.

import { Board, copy, empty, keepLink, newest, onNews, readLink } from "./change.js";
import { Chart } from "./chart.js";
import { el, fill, put, say, trouble } from "./dom.js";
import { connect } from "./socket.js";

const REST_MS = 500; // after the latest change: then the link follows, and what came of it is said
const MEASURE = "slider to redraw";

const wire = connect();
const picture = el("div", { class: "picture" });
const figures = el("section", { "aria-label": "Figures" });
const notes = el("ul", { class: "small" });
const command = el("code");
const held = el("button", { type: "button", class: "main", onclick: hold }, "Hold this");
const letGo = el("button", { type: "button", hidden: true, onclick: release }, "Let go of what is held");
const back = el("button", { type: "button", onclick: () => { board.state = empty(); set(board.state, performance.now()); } }, "All as it is");
const chosen = el("section", { class: "board", "aria-label": "What is changed" });

fill(document.getElementById("page"), el("div", { class: "two seen-and-set" },
  el("div", { class: "stays" },
    picture,
    el("div", { class: "row" }, held, letGo, back),
    figures, notes,
    el("p", {}, el("a", { href: "/listen" }, "Hear it")),
    el("details", {}, el("summary", {}, el("h2", {}, "The same elsewhere")),
      el("p", {}, "As a link of this page, which holds while the program runs at this address:"),
      el("div", { class: "row" }, el("button", { type: "button", onclick: () => copy(location.href, () => say("The link is copied.")) }, "Copy the link")),
      el("p", {}, "As a command that prints the same:"),
      el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "Command" }, el("pre", {}, command)),
      el("div", { class: "row" }, el("button", { type: "button", onclick: () => copy(command.textContent, () => say("The command is copied.")) }, "Copy the command")))),
  chosen));

const chart = new Chart(picture, { label: "Output over the voltage in the winding", y: "jack over winding [dB]", floor_db: -60 });
const board = new Board(chosen, (state, time) => set(state, time));
board.state = readLink(location.hash);
let ghost = null;
let resting = 0;

function draw(answer) {
  const curves = answer.curves.map((curve, index) => ({ ...curve, frequency_hz: answer.frequency_hz, style: index }));
  const ghosts = (ghost?.curves ?? []).map((curve, index) => ({ label: `${curve.label}, held`, db: curve.db, frequency_hz: ghost.frequency_hz, style: index, is_ghost: true }));
  chart.set({ frequency_hz: answer.frequency_hz, curves: [...curves, ...ghosts], corners: answer.corners.filter(({ hz }) => hz > chart.from && hz < chart.to) });
}

function show(answer, asked) {
  draw(answer);
  put(figures, answer.sheet_html);
  fill(notes, [...new Set(answer.simulated ? ["The parts were measured on the virtual bench: simulated.", ...answer.notes] : answer.notes)].map((text) => el("li", {}, text)));
  command.textContent = answer.command;
  board.show(answer, asked);
  clearTimeout(resting);
  resting = setTimeout(() => { keepLink(board.state); say(answer.verdict); }, REST_MS); // a browser takes long to change its address
  document.documentElement.dataset.curves = String(answer.curves.length);
}

const set = newest(async (state, time) => {
  const asked = structuredClone(state);
  try {
    const answer = await wire.ask("what_if_set", asked);
    trouble("");
    show(answer, asked);
    performance.measure(MEASURE, { start: time, end: performance.now() });
  } catch (error) {
    trouble(error.message);
    if (board.takeBack()) show(board.answer, board.asked);
  }
});

async function hold() {
  try {
    const state = structuredClone(board.state);
    ghost = { ...(await wire.ask("hold", { ...state, is_held: true })), state };
    letGo.hidden = false;
    set(board.state, performance.now());
    say("Held: what you try now stands beside it.");
  } catch (error) { trouble(error.message); }
}

async function release() {
  ghost = null;
  letGo.hidden = true;
  held.focus();
  try { await wire.ask("hold", { is_held: false }); } catch (error) { trouble(error.message); }
  set(board.state, performance.now());
}

async function open() {
  try {
    const answer = await wire.ask("what_if_open");
    trouble("");
    const isPlain = JSON.stringify(board.state) === JSON.stringify(empty());
    if (isPlain) show(answer, empty());
    else {
      board.keep(answer, empty());
      await set(board.state, performance.now());
    }
    if (ghost) await wire.ask("hold", { ...ghost.state, is_held: true });
  } catch (error) { trouble(error.message); }
}

wire.onOpen(open);
onNews(wire, open);
addEventListener("hashchange", () => { board.state = readLink(location.hash); set(board.state, performance.now()); });
