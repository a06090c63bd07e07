// What a job changed: verdicts first, both responses one over the other, and their difference with its band.

import { onNews } from "./change.js";
import { Chart } from "./chart.js";
import { el, fill, put, say, trouble } from "./dom.js";
import { connect } from "./socket.js";

const wire = connect();
const page = document.getElementById("page");
const working = el("p", { class: "advice", role: "status", hidden: true }, "Computing: all takes of both sides in one fit.");
const drawn = el("div");
const answer = el("section", { "aria-label": "Verdict" });
const sheet = el("section", { "aria-label": "Part by part" });
const chooser = el("details");
fill(page, working, answer, drawn, sheet, chooser);

function busy(is) {
  working.hidden = !is;
  page.setAttribute("aria-busy", String(is));
}

function draw({ responses, foil }) {
  const places = responses.map(() => [el("div"), el("div")]);
  const below = foil ? el("div") : null;
  fill(drawn, responses.map(({ before, after }, index) => el("section", {}, el("h2", {}, `${before} before, ${after} after`), el("div", { class: "two" }, places[index]))), below ? el("h2", {}, "Foil near the wiring") : null, below);
  responses.forEach(({ before, after, overlay, change, recorded }, index) => {
    const [left, right] = places[index];
    new Chart(left, { label: `Responses ${before} and ${after}`, y: "reference to pickup [dB]" }).set({ curves: overlay.map((curve, style) => ({ ...curve, style })) });
    new Chart(right, { label: `Change from ${before} to ${after}`, y: "after over before [dB]", digits: 3 }).set({
      curves: [{ ...change, label: "fitted", style: 0 }, { ...recorded, label: "recorded", style: 1 }],
    });
  });
  if (foil) new Chart(below, { label: foil.label, y: "after over before [dB]" }).set({ curves: [foil] });
}

function choose({ before, after, choices }) {
  const sides = [["before", before], ["after", after]].map(([side, chosen]) => [side, choices.map((name) => el("input", { type: "checkbox", value: name, checked: chosen.includes(name) }))]);
  const ask = (event) => {
    event.preventDefault();
    const fields = Object.fromEntries(sides.map(([side, boxes]) => [side, boxes.filter((box) => box.checked).map((box) => box.value)]));
    if (fields.before.length && fields.after.length) open(fields);
    else trouble("Choose a take for each side at least.");
  };
  chooser.open = before.length === 0;
  fill(chooser, el("summary", {}, el("h2", {}, before.length ? "Compare other takes" : "Compare takes")),
    choices.length < 2 ? el("p", {}, "Takes of both sides are needed: ", el("a", { href: "/take?job=compare" }, "be led through the job"), ".")
      : el("form", { onsubmit: ask },
        sides.map(([side, boxes]) => el("fieldset", { class: "positions" }, el("legend", {}, side), boxes.map((box) => el("label", { class: "choice" }, box, box.value)))),
        el("p", {}, el("button", { class: "main" }, "Compare"))));
}

async function open(fields = {}) {
  busy(true);
  try {
    const found = await wire.ask("compare_open", fields);
    trouble("");
    put(answer, found.answer_html);
    put(sheet, found.sheet_html);
    draw(found);
    choose(found);
    say(found.before.length ? `Compared: ${found.before.join(", ")} with ${found.after.join(", ")}` : "No takes are marked as made after a job.");
    document.documentElement.dataset.compared = String(found.responses.length);
  } catch (error) {
    trouble(error.message);
    if (!chooser.firstChild) await list();
  } finally { busy(false); }
}

// Where the takes of a logbook do not compare by themselves, a person still chooses.
async function list() {
  const { days } = await wire.ask("takes_list");
  choose({ before: [], after: [], choices: days.flatMap(({ takes }) => takes.filter(({ outcome }) => outcome !== "rejected").map(({ name }) => name)) });
}

wire.onOpen(() => open());
onNews(wire, () => open());
