// A job of the guide, step by step, to be read from a metre and led by one key: what to clip where, the sweep, what came of it.
//
// Questions, texts and takes are the guide's own, as at a terminal. A foot switch is a key: any that it sends can be learnt.

import { Chart } from "./chart.js";
import { el, fill, isTyping, kept, put, say, trouble } from "./dom.js";
import { connect } from "./socket.js";
import { ask as askForVoice, isAsked, speak, voice } from "./speech.js";

const JOBS = {
  guitar: "A whole guitar that stays closed: what is in it?", pickup: "A pickup on the bench: what is it?",
  capacitor: "Is a tone capacitor, or a pot, what is printed on it?", compare: "What did a job on shielding or wiring change?",
  wiring: "What does each position of the switch connect?",
};
const COUNTDOWN_S = 5;
const MOST_LINES = 400; // of what was told
const MOST_SHOWN = 24; // of them beside a question; what is longer stands in the list alone
const RECORDING = "recording …"; // the page shows as much while it lasts
const BROKEN = 60; // [characters] a shorter line was not broken for its width
const USUAL_PEDAL = "PageDown";
const SEVERITY = { pass: "in order", warn: "look at this", reject: "cannot be used" };
const OUTCOME = { good: "good", usable: "usable, could be better", rejected: "rejected" };

const wire = connect();
const given = new URLSearchParams(location.search);
const job = given.get("job") ?? "";
const pair = (text) => [text.slice(0, text.indexOf("=")), text.slice(text.indexOf("=") + 1)];
let further = { added: given.get("added") ?? "", controls: Object.fromEntries(given.getAll("set").map(pair)) }; // a take to be made besides
const page = document.getElementById("page");
let asked = null; // the question that stands
let told = []; // since the latest answer
let unlisted = []; // told, and not in the list yet
let isOfTake = false; // what is told just now is told of a take: it stands beside its curve
let takes = []; // with a response, the oldest first
let timer = null; // of the countdown
let isMine = true;
let isPlaying = false;
let isDecided = false; // whether this page leads the job, or looks on where another one does
let isLearning = false;
let isSent = false; // an answer is under way

const step = el("section", { class: "step", "aria-label": "This step" });
const drawing = el("div", { class: "hookup", hidden: true });
const picture = el("div", { hidden: true });
const result = el("div", { class: "taken" });
const log = el("div", { class: "log", role: "log", tabindex: "0", "aria-label": "All that was told" });
const end = el("section");

const indent = (line) => line.length - line.trimStart().length;

// Lines that keep their columns stand in a block of letters of one width; prose is prose, its broken lines joined again.
function paragraphs(lines) {
  const out = [];
  let [block, prose] = [[], ""];
  const flush = () => {
    if (block.length) out.push(el("pre", { tabindex: "0" }, block.join("\n")));
    if (prose) out.push(el("p", {}, prose.trim()));
    [block, prose] = [[], ""];
  };
  for (const line of lines) {
    const isBroken = prose.length >= BROKEN && /^\s+[a-z0-9(]/.test(line) && indent(line) > indent(prose) && !/[.:?!]$/.test(prose);
    if (/\S {2,}\S|--(?=[ +-]|$)|^\s*[|+[]/.test(line) || (block.length && indent(line) >= 4)) {
      if (prose) flush();
      block.push(line);
    } else if (isBroken) prose += ` ${line.trim()}`;
    else { flush(); prose = line.trimEnd(); }
  }
  flush();
  return out;
}

// All that was told goes to the list at once, its tables whole.
function remember() {
  if (!unlisted.length) return;
  const height = log.scrollHeight;
  log.append(...paragraphs(unlisted));
  const isLong = unlisted.length > MOST_SHOWN; // it stands here alone
  if (isLong !== remember.isOpened) log.parentElement.open = remember.isOpened = isLong;
  unlisted = [];
  while (log.childElementCount > MOST_LINES) log.firstElementChild.remove();
  log.scrollTop = height;
}

remember.isOpened = false;

const handsFree = () => kept.read("handsfree", "no") === "yes";
const pedal = () => kept.read("pedal", USUAL_PEDAL);

const isConsent = ({ choices }) => choices.length === 1;

function dots({ count, of }) {
  if (!of) return null;
  const one = (index) => el("li", { class: index + 1 < count ? "made" : index + 1 === count ? "now" : "" });
  return el("ol", { class: "steps", "aria-hidden": "true" }, Array.from({ length: of }, (unused, index) => one(index)));
}

const sentences = (...texts) => texts.map((text) => text.trim()).filter((text) => text).map((text) => (/[.:;?!]$/.test(text) ? text : `${text}.`)).join(" ");

function show(question) {
  stopCounting();
  asked = question;
  Object.assign(step.dataset, { is: "asked", key: question.key, asked: Number(step.dataset.asked ?? 0) + 1 });
  isSent = false;
  trouble(question.wrong ? `Not so: ${question.wrong}` : "");
  const { todo } = question;
  const others = question.heading ? [] : told.length > MOST_SHOWN ? question.before : told; // which ends with what stands before
  const heading = question.heading.replace(/^Take \d+ of \d+: /, "");
  const title = el("h2", { tabindex: "-1", id: "asked" }, heading || question.text);
  const form = question.is_take || isConsent(question) ? go(question) : question.choices.length ? choose(question) : type(question);
  fill(step,
    el("p", { class: "count" }, question.of ? `Take ${question.count} of ${question.of}` : "\u00a0"), dots(question), title,
    todo.length ? el("ul", { class: "todo", id: "todo" }, todo.map((line) => el("li", {}, line))) : null,
    el("div", { class: "told" }, paragraphs(others)),
    heading ? el("p", { class: "question" }, question.text) : null, form, below(question));
  drawing.hidden = !question.drawing_svg;
  if (question.drawing_svg) put(drawing, question.drawing_svg);
  const first = ["input", "button.main:not(:disabled)"].map((one) => form.querySelector(one)).find((one) => one);
  (first ?? title).focus({ preventScroll: true });
  step.scrollIntoView({ block: "nearest" });
  const count = question.of ? `Take ${question.count} of ${question.of}` : "";
  speak(sentences(count, heading, ...todo, ...(todo.length ? [] : others.slice(-2)), question.text));
}

function go(question) {
  const doing = question.setup?.method === "quiet" ? "Record" : "Play";
  const text = question.is_take ? (handsFree() ? `${doing} in ${COUNTDOWN_S} s` : `${doing} now`) : "Go on";
  return el("form", { onsubmit: (event) => { event.preventDefault(); start(); } },
    el("div", { class: "row" }, el("button", { class: "main", type: "submit", disabled: !isMine, "aria-describedby": question.todo.length ? "asked todo" : "asked" }, text, el("kbd", {}, "Space"))));
}

// What is proposed stands in words, or by its number.
const proposed = ({ choices, default: usual }) => (choices.includes(usual) ? usual : choices[Number(usual) - 1] ?? "");

function choose(question) {
  const usual = proposed(question);
  const one = (choice, index) => el("button", {
    type: "button", class: choice === usual ? "main" : "", disabled: !isMine, onclick: () => answer(choice),
  }, choice, index < 9 ? el("kbd", {}, String(index + 1)) : null);
  return el("form", { onsubmit: (event) => event.preventDefault() }, el("div", { class: "row", role: "group", "aria-label": question.text }, question.choices.map(one)));
}

function type(question) {
  const input = el("input", { type: "text", id: "typed", autocomplete: "off", autocapitalize: "off", spellcheck: "false", value: question.default, maxlength: "1000", "aria-describedby": "asked trouble" });
  const form = el("form", { onsubmit: (event) => { event.preventDefault(); answer(input.value.trim()); } },
    el("label", { for: "typed" }, question.default ? "Your answer, or as it stands:" : "Your answer:"),
    el("div", { class: "row" }, input, el("button", { class: "main", type: "submit", disabled: !isMine }, "Go on", el("kbd", {}, "Enter"))));
  setTimeout(() => input.select(), 0);
  return form;
}

function below(question) {
  const help = el("div", { hidden: true, role: "note" }, question.help.map((line) => el("p", {}, line)));
  const more = question.help.length ? el("button", { type: "button", "aria-expanded": "false", onclick: explain }, "Explain", el("kbd", {}, "?")) : null;
  function explain() {
    help.hidden = !help.hidden;
    more.setAttribute("aria-expanded", String(!help.hidden));
    if (!help.hidden) speak(question.help.join(" "));
  }
  step.explain = more ? explain : () => {};
  return el("div", { class: "aside" }, el("div", { class: "row" }, more, el("button", { type: "button", disabled: !isMine || !question.can_go_back, onclick: undo }, "Undo", el("kbd", {}, "B"))), help);
}

// One answer at a time: the next one when the guide has said something to it.
function send(kind, fields) {
  if (isSent) return;
  isSent = true;
  [told, isOfTake] = [[], false];
  trouble("");
  say("");
  wire.send(kind, fields);
}

const answer = (text) => asked && send("guide_answer", { key: asked.key, text });

function start() {
  if (!asked || !isMine || isSent) return;
  if (asked.is_take && handsFree()) count(asked);
  else send("guide_do", { key: asked.key });
}

function undo() {
  stopCounting();
  if (isMine && asked?.can_go_back) send("guide_back");
}

// Five seconds to take hold of coil and clip; Escape, or leaving the page, ends them.
function count(question) {
  let left = COUNTDOWN_S;
  const figure = el("p", { class: "countdown", role: "timer" }, String(left));
  const stop = el("button", { type: "button", onclick: cancel }, "Stop", el("kbd", {}, "Esc"));
  fill(step, el("p", { class: "count" }, question.of ? `Take ${question.count} of ${question.of}` : "\u00a0"), el("h2", {}, question.setup?.method === "quiet" ? "It records in" : "The sweep plays in"), figure, el("div", { class: "row" }, stop));
  stop.focus({ preventScroll: true });
  speak(`Playing in ${left}`);
  timer = setInterval(() => {
    left -= 1;
    figure.textContent = String(left);
    if (left > 0) { speak(String(left)); return; }
    stopCounting();
    send("guide_do", { key: question.key });
  }, 1000);
}

function stopCounting() {
  if (timer !== null) clearInterval(timer);
  timer = null;
}

function cancel() {
  if (timer === null) return;
  stopCounting();
  show(asked);
  say("Stopped: nothing was played.");
}

function silence() {
  wire.send("stop");
}

function busy({ text, progress }) {
  stopCounting();
  asked = null;
  const isKnown = progress !== null && progress !== undefined;
  const bar = step.querySelector(".busy progress");
  if (bar) {
    step.querySelector(".doing").textContent = text;
    if (isKnown) bar.value = progress; else bar.removeAttribute("value");
    return;
  }
  const shown = el("progress", { max: "1", "aria-label": "Progress" });
  if (isKnown) shown.value = progress;
  const stop = el("button", { type: "button", hidden: !isPlaying, onclick: silence }, "Stop", el("kbd", {}, "Esc"));
  fill(step, el("div", { class: "busy" }, el("p", { class: "doing", role: "status" }, text), shown, el("div", { class: "row" }, stop)));
}

// The newest take with its error bars, over the earlier ones as lines.
function draw() {
  if (!takes.length) return;
  const last = takes.length - 1;
  const curves = takes.map(({ name, response: { frequency_hz, magnitude_db: db, interval_db } }, index) => {
    const at = (sign) => db.map((value, place) => (value === null ? null : value + sign * (interval_db[place] ?? 0)));
    return { label: name, style: index, frequency_hz, db, ...(index === last ? { points: true, low_db: at(-1), high_db: at(1) } : {}) };
  });
  chart.set({ curves });
}

const chart = new Chart(picture, { label: "Responses of the takes", y: "response [dB]" });

function made(message) {
  const { name, outcome, findings, response } = message;
  const known = takes.findIndex((one) => one.name === name);
  if (known >= 0) takes.splice(known, 1);
  if (response) { takes.push(message); picture.hidden = false; draw(); }
  const open = findings.filter(({ severity }) => severity !== "pass");
  fill(result, el("h2", {}, `${name} `, el("span", { class: `mark ${outcome === "good" ? "good" : outcome === "rejected" ? "bad" : "look"}` }, OUTCOME[outcome] ?? outcome)),
    open.length ? el("ul", { class: "findings" }, open.map(({ severity, text }) => el("li", { class: severity }, el("b", { class: "small" }, `${SEVERITY[severity] ?? severity}: `), text)))
      : el("p", {}, `All ${findings.length ? `${findings.length} ` : ""}checks passed.`));
  speak(`${name}: ${OUTCOME[outcome] ?? outcome}. ${open.map(({ text }) => text).join(" ")}`);
}

function finish({ is_finished, text, report, sheet_html }) {
  asked = null;
  step.dataset.is = "done";
  document.querySelector(".two").classList.add("done");
  log.parentElement.open = remember.isOpened = false;
  drawing.hidden = true;
  fill(step, el("h2", { tabindex: "-1" }, is_finished ? "Done" : "Left; nothing is lost"), text ? el("p", {}, text) : null,
    report ? el("p", {}, el("a", { href: `/kept/${report.split(/[\\/]/).pop()}`, target: "_blank" }, "All of it as one page"), ` (${report})`) : null,
    el("div", { class: "row" }, el("button", { type: "button", class: "main", onclick: open }, is_finished ? "This job anew" : "Go on with it"),
      job === "compare" ? el("a", { href: "/before-after" }, "Before and after in full") : el("a", { href: "/result" }, "The result in full"), el("a", { href: "/what-if" }, "What if"), el("a", { href: "/take" }, "Another job")));
  if (sheet_html) put(end, sheet_html);
  else fill(end);
  step.querySelector("h2").focus();
  speak(is_finished ? "Done." : "Left.");
}

// All that there is of this job comes anew.
function open() {
  fill(end);
  fill(log);
  fill(result);
  takes = [];
  told = [];
  step.dataset.is = "opened";
  document.querySelector(".two").classList.remove("done");
  picture.hidden = true;
  isSent = false;
  wire.send("guide_open", { job, ...further });
  further = {}; // asked for once
  history.replaceState(null, "", `?job=${job}`);
}

function offer() {
  fill(page, el("ul", { class: "cards" }, Object.entries(JOBS).map(([name, text]) => el("li", {}, el("a", { href: `/take?job=${name}` }, el("b", {}, name[0].toUpperCase() + name.slice(1)), el("span", {}, text))))));
}

function settings() {
  const hands = el("input", { type: "checkbox", id: "hands", checked: handsFree(), onchange: () => { kept.write("handsfree", hands.checked ? "yes" : "no"); if (asked) show(asked); } });
  const voiced = el("input", { type: "checkbox", id: "voiced", checked: isAsked(), onchange: () => {
    askForVoice(voiced.checked);
    if (voiced.checked && voice() === null) say("This browser has no English voice of its own on this machine; others would send the text elsewhere.");
    else if (asked) show(asked);
  } });
  settings.hands = hands;
  const learn = el("button", { type: "button", onclick: () => { isLearning = true; learn.textContent = "Press the foot switch …"; } }, `Foot switch: ${pedal()}`);
  settings.learnt = () => { learn.textContent = `Foot switch: ${pedal()}`; };
  const keys = [["Space, Enter", "go on, play"], ["1 … 9", "the choice of that number"], ["H", "hands free on or off"], ["B", "undo the latest answer"], ["?", "explain"], ["Esc", "stop: what sounds fades to silence"], ["Alt + B, Alt + H, Alt + ?", "the same while typing"]];
  return el("div", { class: "settings" },
    el("div", { class: "row" },
      el("label", { class: "choice", for: "hands" }, hands, `Hands free: ${COUNTDOWN_S} s before each sweep`, "\u00a0", el("kbd", {}, "H")),
      el("label", { class: "choice", for: "voiced" }, voiced, "Read the steps aloud"), learn),
    el("details", {}, el("summary", {}, "Keys"), el("ul", { class: "keys" }, keys.map(([key, what]) => el("li", {}, el("kbd", {}, key), ` ${what}`)))));
}

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.metaKey || !job) return;
  if (isLearning) {
    event.preventDefault();
    isLearning = false;
    if (event.key !== "Escape") kept.write("pedal", event.key === " " ? "Space" : event.key);
    settings.learnt();
    return;
  }
  const key = event.key === " " ? "Space" : event.key;
  if (key === "Escape") { if (timer !== null) cancel(); else if (isPlaying) silence(); return; }
  const isWritten = key.length === 1 || key === "Space"; // a foot switch that sends a letter leaves what is typed alone
  if (isTyping(event) && !event.altKey && (key !== pedal() || isWritten)) return;
  const isOnControl = event.target.closest?.("button,a,summary,input,.stage,.log,pre") !== null && !event.target.closest?.("form");
  if (key === pedal() || ((key === "Space" || key === "Enter") && !isOnControl && !event.target.closest?.("button"))) {
    event.preventDefault();
    if (timer !== null) return;
    press();
  } else if (key.toLowerCase() === "b") { event.preventDefault(); undo(); }
  else if (key.toLowerCase() === "h") { event.preventDefault(); settings.hands.click(); }
  else if (key === "?") { event.preventDefault(); step.explain?.(); }
  else if (/^[1-9]$/.test(key) && asked && !event.altKey) step.querySelectorAll("form .row[role=group] button")[Number(key) - 1]?.click();
});

// What the one key does: go on, take the proposal, or submit what is typed.
function press() {
  if (!asked) return;
  if (asked.is_take || isConsent(asked)) start();
  else if (asked.choices.length) { if (asked.default) answer(proposed(asked)); }
  else step.querySelector("form")?.requestSubmit();
}

if (job in JOBS) {
  document.querySelector("h1").textContent = JOBS[job];
  document.querySelector(".lead").remove();
  const choices = settings();
  fill(page, el("div", { class: "two wide-left" }, el("div", {}, step, end, choices), el("div", {}, drawing, result, picture, el("details", {}, el("summary", {}, el("h2", {}, "All that was told")), log))));
  fill(step, el("p", {}, "One moment …"));
  wire.on("guide_told", ({ lines }) => {
    unlisted.push(...lines);
    for (const line of lines) {
      if (!line.trim()) isOfTake = false;
      if (!isOfTake && line.trim() !== RECORDING) told.push(line);
    }
  });
  wire.on("guide_ask", (question) => { remember(); show(question); });
  wire.on("guide_busy", busy);
  wire.on("take_made", (message) => { [told, isOfTake] = [[], true]; made(message); });
  wire.on("guide_done", (message) => { remember(); finish(message); });
  wire.on("refused", () => { isSent = false; });
  wire.on("welcome", () => { isDecided = false; });
  wire.on("card", ({ owner, held_by, is_playing }) => {
    isPlaying = is_playing;
    step.querySelector(".busy button")?.toggleAttribute("hidden", !isPlaying);
    const before = isMine;
    isMine = owner || held_by === null;
    if (!isDecided && isMine) open();
    else if (before !== isMine && asked) show(asked);
    isDecided = true;
  });
} else offer();
