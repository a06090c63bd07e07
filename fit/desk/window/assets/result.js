// What was found: the answer first, the responses with model and error bars and what is left between them, the table, and the takes
// that would narrow it.

import { copy, onNews } from "./change.js";
import { Chart } from "./chart.js";
import { el, fill, put, say, trouble } from "./dom.js";
import { connect } from "./socket.js";

const MOST_SHOWN = 3; // takes at first: more would hide each other

const wire = connect();
const page = document.getElementById("page");
const working = el("p", { class: "advice", role: "status", hidden: true }, "Computing. A fit of a whole guitar takes a minute.");
const answer = el("section", { "aria-label": "Answer" });
const picture = el("div");
const shown = el("fieldset", { class: "positions" });
const narrower = el("section", { "aria-label": "What would narrow it" });
const sheet = el("section", { "aria-label": "All of it" });
const chooser = el("details");
fill(page, working, answer, el("div", { class: "drawn", hidden: true }, el("h2", {}, "Responses, and what the model leaves"), picture, shown), narrower, sheet, chooser);
const drawn = page.querySelector(".drawn");
let chart = null;

function busy(is) {
  working.hidden = !is;
  page.setAttribute("aria-busy", String(is));
}

function draw(fitted) {
  drawn.hidden = fitted.length === 0;
  if (!fitted.length) return;
  chart ??= new Chart(picture, { label: "Responses of the takes", y: "reference to pickup [dB]", residual: true, digits: 3 });
  const boxes = fitted.map(({ take }, index) => el("input", { type: "checkbox", value: take, checked: index < MOST_SHOWN, onchange: redraw }));
  fill(shown, el("legend", {}, "takes shown"), fitted.map(({ take }, index) => el("label", { class: "choice" }, boxes[index], take)));
  shown.hidden = fitted.length < 2;
  function redraw() {
    const chosen = fitted.map((one, style) => ({ ...one, style })).filter((_, index) => boxes[index].checked);
    chart.set({
      curves: chosen.flatMap(({ measured, model, style }) => [{ ...measured, points: true, style }, { ...model, is_model: true, style }]),
      residual: { curves: chosen.map(({ residual, style }) => ({ ...residual, points: true, style })) },
    });
  }
  redraw();
}

const linkOf = (job, { added, controls }) =>
  `/take?${new URLSearchParams([["job", job], ["added", added], ...Object.entries(controls).map(([name, at]) => ["set", `${name}=${at}`])])}`;

// The job that made the takes makes one more; those that were made otherwise are added to in the same way.
function propose(found, job) {
  fill(narrower, found.length ? el("h2", {}, "What would narrow it") : null,
    job ? el("ul", { class: "cards" }, found.map((take) => el("li", {}, el("a", { href: linkOf(job, take) }, el("b", {}, "Make this take"), el("span", {}, take.text)))))
      : el("ul", {}, found.map(({ text }) => el("li", {}, text))),
    found.length ? el("details", { open: !job }, el("summary", {}, "As commands"), found.map(({ command }) => el("div", { class: "row" }, el("code", {}, command), el("button", { type: "button", class: "small", "aria-label": `Copy ${command}`, onclick: () => copy(command, () => say("The command is copied.")) }, "Copy")))) : null);
}

function choose({ takes, choices }) {
  const boxes = choices.map((name) => el("input", { type: "checkbox", value: name, checked: takes.includes(name) }));
  const dcr = el("input", { type: "text", placeholder: "6.35k ± 1%", autocomplete: "off", maxlength: "60" });
  const ask = (event) => {
    event.preventDefault();
    const chosen = boxes.filter((box) => box.checked).map((box) => box.value);
    if (chosen.length) open({ takes: chosen, dcr: dcr.value.trim() });
    else trouble("No take is chosen.");
  };
  chooser.open = takes.length === 0;
  fill(chooser, el("summary", {}, el("h2", {}, takes.length ? "Fit other takes" : "Fit takes")),
    choices.length === 0 ? el("p", {}, "No take that tells parts is kept here yet: ", el("a", { href: "/take" }, "make one"), ".")
      : el("form", { onsubmit: ask },
        el("fieldset", { class: "positions" }, el("legend", {}, "takes"), choices.map((name, index) => el("label", { class: "choice" }, boxes[index], name))),
        el("p", {}, el("label", {}, "Winding resistance from a multimeter, where it was read ", dcr)),
        el("button", { class: "main" }, "Fit")));
}

async function open(fields = {}) {
  busy(true);
  try {
    const found = await wire.ask("result_open", fields);
    trouble("");
    put(answer, found.answer_html);
    put(sheet, found.sheet_html);
    draw(found.fitted);
    propose(found.narrower, found.job);
    choose(found);
    say(found.takes.length ? `Fitted: ${found.takes.join(", ")}` : "Nothing was fitted yet.");
    document.documentElement.dataset.result = found.outcome || "none";
  } catch (error) {
    trouble(error.message);
  } finally { busy(false); }
}

wire.onOpen(() => open());
onNews(wire, () => open());
