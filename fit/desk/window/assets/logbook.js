// The takes by day, with outcome, checks and a small picture of each; notes are amended where they stand.

import { onNews } from "./change.js";
import { el, fill, say, svg, trouble } from "./dom.js";
import { connect } from "./socket.js";

const [WIDTH, HEIGHT, LOW_HZ, HIGH_HZ, LEAST_DB] = [150, 56, 40, 20000, 20];

const wire = connect();
const list = el("div");
const where = el("p", { class: "small" });
const folder = el("input", { type: "text", autocomplete: "off", spellcheck: "false", maxlength: "500" });
const open = async (event) => {
  event.preventDefault();
  try {
    await wire.ask("book_open", { folder: folder.value.trim() });
    trouble("");
    await show("takes_list");
  } catch (error) { trouble(error.message); }
};
fill(document.getElementById("page"), where, list,
  el("details", {}, el("summary", {}, el("h2", {}, "Open another logbook")),
    el("form", { onsubmit: open }, el("p", {}, el("label", {}, "Its folder ", folder)), el("button", { class: "main" }, "Open"))));

function small({ frequency_hz, db }, name) {
  const top = Math.max(...db);
  const bottom = Math.min(top - LEAST_DB, ...db);
  const x = (hz) => (WIDTH * Math.log(hz / LOW_HZ)) / Math.log(HIGH_HZ / LOW_HZ);
  const y = (value) => 2 + ((HEIGHT - 4) * (top - value)) / (top - bottom);
  const line = frequency_hz.map((hz, index) => `${index ? "L" : "M"}${x(hz).toFixed(1)} ${y(db[index]).toFixed(1)}`).join("");
  return svg("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, width: WIDTH, height: HEIGHT, role: "img", "aria-label": `Response of ${name}`, class: "small-picture" },
    svg("path", { d: line, fill: "none", stroke: "var(--series-0)", "stroke-width": 1.6 }));
}

function amend(take) {
  const field = el("input", { type: "text", autocomplete: "off", maxlength: "1000" });
  field.value = take.note;
  const keep = (event) => {
    event.preventDefault();
    show("take_amend", { name: take.name, note: field.value });
  };
  return el("form", { class: "row note", onsubmit: keep }, el("label", {}, "note ", field), el("button", { class: "small", "aria-label": `Keep the note of ${take.name}` }, "Keep"));
}

const oneTake = (take) => el("li", { class: `entry ${take.level}` },
  el("div", {}, el("h3", {}, take.name, " ", el("span", { class: `mark ${take.level}` }, take.outcome)),
    el("p", { class: "small" }, [take.time_utc.slice(11, 16) + " UTC", take.text, ...take.marks].filter(Boolean).join("; ")),
    take.checks.length ? el("ul", { class: "findings" }, take.checks.map((text) => el("li", {}, text))) : null,
    amend(take)),
  take.picture ? small(take.picture, take.name) : null);

function draw({ logbook, days, damaged, removed, said }) {
  where.textContent = `In ${logbook}`;
  const bad = Object.entries(damaged);
  fill(list,
    days.length ? null : el("p", {}, "No take is kept here yet: ", el("a", { href: "/take" }, "make the first one"), "."),
    [...days].reverse().map(({ date, takes }) => el("section", {}, el("h2", {}, `${date}, UTC`), el("ol", { class: "takes" }, takes.map(oneTake)))),
    bad.length ? el("section", {}, el("h2", {}, "Cannot be read"), el("ul", {}, bad.map(([name, why]) => el("li", {}, `${name}: ${why}`)))) : null,
    removed.length ? el("p", { class: "small" }, `Removed, and can be restored: ${removed.join(", ")}`) : null);
  say(said || `${days.reduce((sum, { takes }) => sum + takes.length, 0)} takes`);
  document.documentElement.dataset.takes = String(days.reduce((sum, { takes }) => sum + takes.length, 0));
}

async function show(kind, fields = {}) {
  try {
    const told = await wire.ask(kind, fields);
    trouble("");
    draw(told);
  } catch (error) { trouble(error.message); }
}

wire.onOpen(() => show("takes_list"));
onNews(wire, () => show("takes_list"));
wire.on("take_made", () => show("takes_list"));
