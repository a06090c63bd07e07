// A recording of the person's own, through the change: as recorded, as changed, and both ends of the interval, all equally loud.

import { Board, copy, empty, keepLink, newest, onNews, readLink } from "./change.js";
import { Chart } from "./chart.js";
import { el, fill, say, trouble } from "./dom.js";
import { connect } from "./socket.js";
import { Player, levelChange, rateOf, render, samplesOf, spectrumOf, wavOf } from "./sound.js";

const [REST_MS, USUAL_RATE_HZ, LONGEST_S, LONGEST_FILTER_S] = [500, 48000, 300, 1.5];
const WAYS = [["recorded", "As recorded", "1"], ["middle", "Changed", "2"], ["low", "Lower end of the interval", "3"], ["high", "Upper end of the interval", "4"]];

const wire = connect();
const file = el("input", { type: "file", accept: "audio/*,.wav,.flac", onchange: () => file.files[0] && load(file.files[0]) });
const drop = el("div", { class: "drop" }, el("p", {}, el("label", {}, "Drop a recording of your instrument here, or choose one: ", file)), el("p", { class: "small" }, "It stays in this page: it is not sent anywhere, not even to this program."));
const what = el("p", { class: "small" }, "No recording yet.");
const play = el("button", { type: "button", class: "main", disabled: true, onclick: toggle }, "Play", el("kbd", {}, "Space"));
const save = el("button", { type: "button", disabled: true, onclick: keep }, "Save as WAV");
const ways = WAYS.map(([way, text, key]) => [way, el("input", { type: "radio", name: "way", value: way, checked: way === "middle", onchange: () => choose(way) }), text, key]);
const level = el("p", { class: "small", role: "status" });
const picture = el("div");
const notes = el("ul", { class: "small" });
const command = el("code");
const recorded = el("div", { class: "row" });
const chosen = el("section", { class: "board", "aria-label": "What is changed" });

fill(document.getElementById("page"), el("div", { class: "two seen-and-set" }, el("div", { class: "stays" },
  drop, what,
  el("fieldset", { class: "positions" }, el("legend", {}, "heard"), ways.map(([, input, text, key]) => el("label", { class: "choice" }, input, text, " ", el("kbd", {}, key)))),
  el("div", { class: "row" }, play, save), level, picture,
  el("details", {}, el("summary", {}, el("h2", {}, "How the recording was made")), el("p", { class: "small" }, "Where the controls stood in it."), recorded),
  notes,
  el("p", {}, el("a", { href: "/what-if" }, "See it")),
  el("details", {}, el("summary", {}, el("h2", {}, "As a command")), el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "Command" }, el("pre", {}, command)), el("button", { type: "button", onclick: () => copy(command.textContent, () => say("The command is copied.")) }, "Copy the command"))), chosen));

const chart = new Chart(picture, { label: "What the change does to the recording", y: "changed over recorded [dB]" });
const board = new Board(chosen, (state) => change(state));
board.state = readLink(location.hash);
let stood = {}; // where the controls stood in the recording
let answered = {}; // the same, of the latest answer
let way = "middle";
let audio = null;
let spectrum = null;
let player = null;
let impulse = null;
let resting = 0;
let peaking = 0;

for (const name of ["dragover", "drop"]) document.addEventListener(name, (event) => event.preventDefault());
document.addEventListener("drop", (event) => { if (event.dataTransfer.files[0]) load(event.dataTransfer.files[0]); });
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.target.matches?.("input:not([type=range],[type=radio]),select,textarea,button,summary,a")) return;
  if (event.key === " ") { event.preventDefault(); toggle(); }
  const wanted = ways.find(([, , , key]) => key === event.key);
  if (wanted) { wanted[1].checked = true; choose(wanted[0]); }
});

async function load(chosenFile) {
  try {
    const bytes = await chosenFile.arrayBuffer();
    const rate = rateOf(bytes) ?? USUAL_RATE_HZ;
    const found = await new OfflineAudioContext(1, 1, rate).decodeAudioData(bytes);
    if (found.duration > LONGEST_S) throw new Error(`Longer than ${LONGEST_S / 60} minutes: cut a part out of it.`);
    if (found.numberOfChannels > 2) throw new Error("More than two channels: mix it down first.");
    what.textContent = "Reading it.";
    const power = await spectrumOf(found, Math.ceil(LONGEST_FILTER_S * found.sampleRate));
    if (!power.sum.some((one) => one > 0)) throw new Error("The recording is silent.");
    player?.end();
    [player, audio, spectrum, impulse] = [null, found, power, null];
    what.textContent = `${chosenFile.name}: ${audio.duration.toFixed(1)} s, ${audio.sampleRate / 1000} kHz, ${audio.numberOfChannels === 1 ? "mono" : "stereo"}`;
    play.disabled = save.disabled = false;
    trouble("");
    await design(board.state);
    document.documentElement.dataset.loaded = "yes";
  } catch (error) {
    what.textContent = audio ? what.textContent : "No recording yet.";
    trouble(error instanceof DOMException ? "This browser cannot read the file: WAV and FLAC it can." : error.message);
  }
}

const fieldsOf = (state) => {
  const { at, ...fields } = state;
  return { ...fields, recorded: stood };
};

const design = newest(async (state) => {
  if (audio && way === "recorded") { use(null, 1); return; }
  try {
    const told = await wire.ask("sound", { ...fieldsOf(state), edge: way === "recorded" ? "middle" : way, rate_hz: audio?.sampleRate ?? USUAL_RATE_HZ });
    chart.set({ curves: [told.change] });
    fill(notes, told.findings.map((text) => el("li", {}, text)));
    command.textContent = told.command;
    trouble("");
    if (!audio) return;
    impulse = samplesOf(told.samples);
    const louder = levelChange(spectrum, impulse);
    use(impulse, 1 / louder);
    clearTimeout(peaking);
    peaking = setTimeout(() => lower(impulse), REST_MS);
    level.textContent = `Played as loud as the recording: the change alone would be ${Math.abs(20 * Math.log10(louder)).toFixed(1)} dB ${louder < 1 ? "quieter" : "louder"}.`;
    document.documentElement.dataset.heard = told.edge;
  } catch (error) { trouble(error.message); }
});

// Where it would clip it is played lower, as `listen` writes it; how much, only all of it tells.
async function lower(filter) {
  const { gain, lowered } = await render(audio, filter, spectrum);
  if (lowered === 1 || filter !== impulse || way === "recorded") return;
  use(filter, gain * lowered);
  level.textContent += ` Lowered by ${(-20 * Math.log10(lowered)).toFixed(1)} dB, so that nothing clips.`;
}

function use(filter, gain) {
  player ??= new Player(audio);
  player.use(filter, gain);
}

function choose(wanted) {
  way = wanted;
  design(board.state);
}

async function toggle() {
  if (!audio) return;
  if (player?.source) player.stop();
  else {
    player ??= new Player(audio);
    await player.play();
  }
  play.replaceChildren(player.source ? "Stop" : "Play", el("kbd", {}, "Space"));
}

async function keep() {
  await design(board.state);
  const made = way === "recorded" || !impulse ? { audio, lowered: 1 } : await render(audio, impulse, spectrum);
  const link = el("a", { href: URL.createObjectURL(wavOf(made.audio)), download: "changed.wav" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  say(made.lowered < 1 ? `Saved, lowered by ${(-20 * Math.log10(made.lowered)).toFixed(1)} dB so that nothing clips.` : "Saved.");
}

// What the page hears of a change comes from the same answer that draws it.
const change = newest(async (state) => {
  const [asked, before] = [structuredClone(state), { ...stood }];
  try {
    const answer = await wire.ask("what_if_set", { ...asked, set: { ...before, ...asked.set } }); // what is not set stands as recorded
    trouble("");
    board.show(answer, asked);
    answered = before;
    if (recorded.childElementCount === 0) ask(answer.controls);
    clearTimeout(resting);
    resting = setTimeout(() => { keepLink(board.state); say(answer.verdict); }, REST_MS);
    design(board.state);
  } catch (error) {
    trouble(error.message);
    if (!board.takeBack()) return;
    stood = { ...answered };
    board.show(board.answer, board.asked);
    ask(board.answer.controls);
  }
});

function ask(controls) {
  fill(recorded, controls.map(({ name, positions }) => {
    const field = positions.length ? el("select", {}, positions.map((one) => el("option", { value: one }, one))) : el("input", { type: "text", value: "10", autocomplete: "off", class: "short", maxlength: "12" });
    field.value = stood[name] ?? field.value;
    field.setAttribute("aria-label", `${name} in the recording`);
    field.addEventListener("change", () => { stood[name] = field.value; change(board.state); });
    return el("label", {}, name, " ", field);
  }));
}

async function open() {
  try {
    const answer = await wire.ask("what_if_open");
    board.show(answer, empty());
    ask(answer.controls);
    await change(board.state);
  } catch (error) { trouble(error.message); }
}

wire.onOpen(open);
onNews(wire, open);
