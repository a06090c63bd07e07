// Curves over a logarithmic frequency axis, in hertz below and in notes above: bands, error bars, corners, a ghost, a residual.
// Nothing is told by colour alone: each curve has its dash and its mark; a cursor moves by mouse or arrow keys and says what it
// stands on; the numbers stand below as a table for whoever asks for them.

import { el, fill, svg } from "./dom.js";

const DASHES = [[], [8, 4], [8, 3, 2, 3], [2, 3], [12, 3], [5, 2]];
const SEMITONES = ["C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B"];
const [A4_HZ, A4_MIDI, E1_HZ] = [440, 69, 440 * 2 ** (-41 / 12)];
const SYNC = "frequency";
const AXIS_FONT = "12px system-ui,sans-serif";
const [TABLE_ROWS, BAR_EVERY_PX, KEY_STEP, KEY_LEAP] = [28, 9, 1, 10];
const RESIDUAL_SHARE = 0.38; // of the height of the panel above it
const STEPS_DB = [0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50];

export const hertz = (hz) =>
  hz >= 10000 ? `${(hz / 1000).toFixed(2)} kHz` : hz >= 1000 ? `${(hz / 1000).toFixed(3)} kHz` : `${hz.toPrecision(hz >= 100 ? 4 : 3)} Hz`;

export const decibel = (db, digits = 2) =>
  db === null || db === undefined || !Number.isFinite(db) ? "none" : `${db.toFixed(digits).replace("-", "−")} dB`;

export function note(hz) {
  const midi = Math.round(A4_MIDI + 12 * Math.log2(hz / A4_HZ));
  return `${SEMITONES[((midi % 12) + 12) % 12]}${Math.floor(midi / 12) - 1}`;
}

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const isNumber = (value) => value !== null && value !== undefined && Number.isFinite(value);
const styleOf = (curve, index) => (curve.style ?? index) % DASHES.length;
const colourOf = (curve, index) => (curve.is_ghost ? css("--soft") : css(`--series-${styleOf(curve, index)}`));
const dashOf = (curve, index) => (curve.is_ghost ? [2, 3] : DASHES[styleOf(curve, index)]);
const translucent = (colour, share) => {
  const value = Number.parseInt(colour.slice(1), 16);
  return `rgba(${value >> 16},${(value >> 8) & 255},${value & 255},${share})`;
};

// Ends of a vertical axis on steps that people know, so that a curve that moves leaves the axis where it is.
function niceEnds(low, high) {
  if (!isNumber(low) || !isNumber(high)) return [-10, 10];
  const span = Math.max(high - low, 0.02);
  const step = STEPS_DB.find((one) => span / one <= 7) ?? 50;
  const [a, b] = [Math.floor((low - 0.04 * span) / step) * step, Math.ceil((high + 0.04 * span) / step) * step];
  return a === b ? [a - step, b + step] : [a, b];
}

function ticks(from, to) {
  const out = [];
  for (let power = 1; power <= 5; power++) for (const step of [1, 2, 5]) out.push(step * 10 ** power);
  return out.filter((hz) => hz >= from * 0.999 && hz <= to * 1.001);
}

const lines = (from, to) => {
  const out = [];
  for (let power = 1; power <= 5; power++) for (let step = 1; step < 10; step++) out.push(step * 10 ** power);
  return out.filter((hz) => hz >= from * 0.999 && hz <= to * 1.001);
};

// Curves with frequencies of their own, laid over one common axis.
function align(shared, curves) {
  const own = curves.map((curve) => curve.frequency_hz ?? shared);
  if (own.every((one) => one === own[0])) return { x: own[0] ?? shared ?? [], columns: (curve, values) => values };
  const x = [...new Set(own.flat())].sort((a, b) => a - b);
  const place = new Map(x.map((hz, index) => [hz, index]));
  return {
    x,
    columns: (curve, values) => {
      const out = new Array(x.length).fill(undefined); // undefined is bridged, null is a gap
      (curve.frequency_hz ?? shared).forEach((hz, index) => { out[place.get(hz)] = values[index]; });
      return out;
    },
  };
}

class Panel {
  constructor(chart, node, options) {
    this.chart = chart;
    this.node = node;
    this.options = options;
    this.shape = "";
    this.plot = null;
    this.curves = [];
    this.corners = [];
  }

  set(frequency_hz, curves, corners) {
    this.curves = curves;
    this.corners = corners;
    const { x, columns } = align(frequency_hz, curves);
    const data = [x];
    let [low, high] = [Infinity, -Infinity];
    const widen = (values) => {
      for (const value of values) if (isNumber(value)) { low = Math.min(low, value); high = Math.max(high, value); }
    };
    for (const curve of curves) {
      data.push(columns(curve, curve.db));
      widen(curve.db);
      if (curve.low_db) {
        data.push(columns(curve, curve.low_db), columns(curve, curve.high_db));
        widen(curve.low_db);
        widen(curve.high_db);
      }
    }
    const { floor_db: floor, ceiling_db: ceiling } = this.options;
    this.ends = niceEnds(isNumber(floor) ? Math.max(low, floor) : low, isNumber(ceiling) ? Math.min(high, ceiling) : high);
    this.data = data;
    const shape = JSON.stringify(curves.map((one, index) => [one.label, !!one.low_db, !!one.points, !!one.is_ghost, styleOf(one, index)]));
    if (this.plot && shape === this.shape) this.plot.setData(data);
    else this.rebuild(shape);
  }

  rebuild(shape = this.shape) {
    this.shape = shape;
    this.plot?.destroy();
    this.plot = null;
    if (this.data && this.node.clientWidth > 0) this.plot = new uPlot(this.opts(), this.data, this.node);
  }

  size() {
    return { width: Math.max(this.node.clientWidth, 200), height: Math.max(this.options.height(), 110) };
  }

  opts() {
    const { from, to, isNarrow, syncKey } = this.chart;
    const [ink, soft] = [css("--ink"), css("--soft")];
    const grid = { stroke: translucent(ink, 0.13), width: 1 };
    const series = [{}];
    const bands = [];
    const isBare = this.curves.some((curve) => curve.is_model); // the model's line leads the eye, or a thin one does
    this.curves.forEach((curve, index) => {
      const [stroke, dash] = [colourOf(curve, index), dashOf(curve, index)];
      const at = series.length;
      const width = curve.is_ghost ? 1.5 : 2;
      const points = curve.points
        ? { show: true, size: 5, width: 1.2, stroke, fill: css("--paper"), filter: (plot) => this.thinned(plot) }
        : { show: false };
      series.push({ label: curve.label, stroke, dash, width: curve.points ? 0.7 : width, points, paths: curve.points && isBare ? () => null : undefined, spanGaps: false, pxAlign: 0 });
      if (!curve.low_db) return;
      const edge = { show: true, stroke: "transparent", width: 0, points: { show: false } };
      series.push({ ...edge, label: "low", paths: curve.points ? () => null : undefined }, { ...edge, label: "high", paths: curve.points ? () => null : undefined });
      if (!curve.points) bands.push({ series: [at + 2, at + 1], fill: translucent(stroke, 0.2) });
    });
    const marks = ticks(from, to).filter((hz) => !isNarrow || [1, 10].includes(Number.parseInt(String(hz)[0], 10)) || hz === 20);
    const notes = [];
    for (let hz = E1_HZ; hz <= to; hz *= 2) if (hz >= from) notes.push(hz);
    const font = { font: AXIS_FONT, stroke: soft, filter: (plot, splits) => splits };
    const below = {
      ...font, scale: "x", side: 2, size: this.options.is_last ? 32 : 8, gap: 6, grid, ticks: { show: false },
      splits: () => lines(from, to),
      values: (plot, splits) => splits.map((hz) => (this.options.is_last && marks.includes(hz) ? (hz >= 1000 ? `${hz / 1000} k` : `${hz}`) : "")),
    };
    const above = {
      ...font, scale: "x", side: 0, size: 22, gap: 2, grid: { show: false }, ticks: { show: false }, splits: () => notes,
      values: (plot, splits) => splits.map((hz, index) => (isNarrow && index % 2 ? "" : note(hz))),
    };
    const left = {
      ...font, scale: "y", side: 3, size: 46, gap: 4, grid, ticks: { show: false },
      values: (plot, splits) => splits.map((db) => String(Number(db.toFixed(3))).replace("-", "−")),
    };
    return {
      ...this.size(), padding: [this.options.is_first ? 4 : 8, 14, 0, 0], legend: { show: false }, series, bands,
      scales: {
        x: { distr: 3, time: false, range: () => [from, to] },
        y: { range: () => this.ends },
      },
      axes: this.options.is_first ? [below, above, left] : [below, left],
      cursor: { drag: { x: false, y: false, setScale: false }, y: false, points: { size: 7 }, sync: { key: syncKey, setSeries: false } },
      hooks: { draw: [(plot) => this.draw(plot)], setCursor: [(plot) => this.chart.pointed(plot)] },
    };
  }

  // As many marks as can be told apart on the logarithmic axis.
  thinned(plot) {
    const out = [];
    let last = -Infinity;
    this.data[0].forEach((hz, index) => {
      const place = plot.valToPos(hz, "x");
      if (place - last >= BAR_EVERY_PX) { out.push(index); last = place; }
    });
    return out;
  }

  draw(plot) {
    const { ctx, bbox } = plot;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    const ratio = devicePixelRatio;
    let at = 1;
    this.curves.forEach((curve, index) => {
      if (curve.low_db && curve.points) {
        const [low, high] = [this.data[at + 1], this.data[at + 2]];
        ctx.strokeStyle = colourOf(curve, index);
        ctx.lineWidth = 1.2 * ratio;
        ctx.beginPath();
        for (const i of this.thinned(plot)) {
          if (!isNumber(low[i]) || !isNumber(high[i])) continue;
          const x = plot.valToPos(this.data[0][i], "x", true);
          ctx.moveTo(x, plot.valToPos(low[i], "y", true));
          ctx.lineTo(x, plot.valToPos(high[i], "y", true));
        }
        ctx.stroke();
      }
      at += curve.low_db ? 3 : 1;
    });
    const labelled = [];
    for (const { hz, label, style } of this.corners) {
      const x = Math.round(plot.valToPos(hz, "x", true)) + 0.5;
      ctx.strokeStyle = css(style === undefined ? "--soft" : `--series-${style}`);
      ctx.lineWidth = 1.3 * ratio;
      ctx.setLineDash([5 * ratio, 4 * ratio]);
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
      if (label && this.options.is_first) labelled.push([x, label]);
    }
    ctx.setLineDash([]);
    ctx.font = `${12 * ratio}px system-ui,sans-serif`;
    Object.assign(ctx, { fillStyle: css("--ink"), textAlign: "left", textBaseline: "alphabetic" });
    labelled.forEach(([x, label], row) => {
      const width = ctx.measureText(label).width;
      const isRight = x + width + 6 * ratio < bbox.left + bbox.width;
      ctx.fillText(label, isRight ? x + 4 * ratio : x - width - 4 * ratio, bbox.top + (14 + 15 * (row % 4)) * ratio);
    });
    ctx.restore();
  }
}

export class Chart {
  constructor(node, { label, y = "response [dB]", from = 20, to = 20000, residual = false, height = null, floor_db = null, ceiling_db = null, digits = 2 }) {
    Object.assign(this, { node, label, from, to, digits, curves: [], corners: [], frequency_hz: [], index: -1 });
    this.syncKey = `${SYNC}-${Math.random()}`;
    const tall = () => height ?? Math.max(220, Math.min(440, 0.52 * this.stage.clientWidth, 0.62 * innerHeight));
    this.above = el("div", { class: "panel" });
    this.below = residual ? el("div", { class: "panel" }) : null;
    this.stage = el("div", {
      class: "stage", tabindex: "0", role: "slider", "aria-label": label, "aria-valuemin": String(from), "aria-valuemax": String(to),
      "aria-valuenow": String(from), "aria-valuetext": "nothing measured yet", "aria-orientation": "horizontal",
      onkeydown: (event) => this.keyed(event),
    }, el("p", { class: "axis small" }, y), this.above, residual ? el("p", { class: "axis small" }, "residual [dB]") : null, this.below);
    this.legend = el("ul", { class: "legend" });
    this.readout = el("p", { class: "readout small", "aria-hidden": "true" }, "\u00a0");
    this.numbers = el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": `${label}, as numbers` });
    this.details = el("details", { class: "numbers", ontoggle: () => this.tabulate() }, el("summary", {}, "As numbers"), this.numbers);
    fill(node, el("div", { class: "chart" }, this.stage, this.readout, this.legend, this.details));
    const is_last = !residual;
    this.panels = [new Panel(this, this.above, { is_first: true, is_last, height: tall, floor_db, ceiling_db })];
    if (residual) this.panels.push(new Panel(this, this.below, { is_first: false, is_last: true, height: () => RESIDUAL_SHARE * tall() }));
    this.width = 0;
    this.watcher = new ResizeObserver(() => this.fit());
    this.watcher.observe(this.stage);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.restyle());
  }

  get isNarrow() {
    return this.stage.clientWidth < 480;
  }

  set({ frequency_hz = [], curves: given = [], corners = [], residual = null }) {
    const curves = given.map((curve) => (curve.low_db?.length ? curve : { ...curve, low_db: undefined }));
    const named = JSON.stringify(curves.map((one, index) => [one.label, styleOf(one, index), !!one.points, !!one.low_db, !!one.is_ghost]));
    Object.assign(this, { frequency_hz, curves, corners });
    this.panels[0].set(frequency_hz, curves, corners);
    if (this.panels[1]) this.panels[1].set(residual?.frequency_hz ?? frequency_hz, residual?.curves ?? [], corners);
    if (named !== this.named) this.name(named);
    if (this.details.open) this.tabulate();
    if (this.index < 0) this.stage.setAttribute("aria-valuetext", this.summary());
    else this.show();
  }

  name(named) {
    this.named = named;
    fill(this.legend, this.curves.map((curve, index) => {
      const dash = dashOf(curve, index).join(" ");
      const strokes = { stroke: curve.is_ghost ? "var(--soft)" : `var(--series-${styleOf(curve, index)})`, "stroke-width": 2.5, fill: "none" };
      const sample = curve.points
        ? svg("g", { ...strokes, "stroke-width": 1.4 }, svg("path", { d: "M17 2V14" }), svg("circle", { cx: 17, cy: 8, r: 3, fill: "var(--paper)" }))
        : svg("path", { ...strokes, d: "M1 8H33", "stroke-dasharray": dash });
      return el("li", {}, svg("svg", { viewBox: "0 0 34 16", width: 34, height: 16, "aria-hidden": "true" }, sample), el("span", {}, curve.label));
    }));
  }

  summary() {
    const curve = this.curves.find((one) => !one.is_ghost);
    if (!curve) return "nothing measured yet";
    const grid = curve.frequency_hz ?? this.frequency_hz;
    let best = -1;
    curve.db.forEach((db, index) => { if (isNumber(db) && (best < 0 || db > curve.db[best])) best = index; });
    return best < 0 ? "nothing measured yet" : `${curve.label}: highest ${decibel(curve.db[best], this.digits)} at ${hertz(grid[best])}`;
  }

  // What the cursor stands on, of each curve: its value, and its interval where it has one.
  at(hz) {
    return this.curves.map((curve) => {
      const grid = curve.frequency_hz ?? this.frequency_hz;
      let near = 0;
      grid.forEach((one, index) => { if (Math.abs(Math.log(one / hz)) < Math.abs(Math.log(grid[near] / hz))) near = index; });
      const span = curve.low_db && isNumber(curve.low_db[near]) ? ` (${decibel(curve.low_db[near], this.digits)} … ${decibel(curve.high_db[near], this.digits)})` : "";
      return `${curve.label} ${decibel(curve.db[near], this.digits)}${span}`;
    });
  }

  show() {
    const hz = this.panels[0].data?.[0][this.index];
    if (!isNumber(hz)) return;
    const text = `${hertz(hz)}, ${note(hz)}: ${this.at(hz).join("; ")}`;
    this.readout.textContent = text;
    this.stage.setAttribute("aria-valuenow", String(hz));
    this.stage.setAttribute("aria-valuetext", text);
  }

  pointed(plot) {
    if (plot !== this.panels[0].plot && plot !== this.panels[1]?.plot) return;
    const { idx } = plot.cursor;
    if (idx === null || idx === undefined || plot.data !== this.panels[0].data) return;
    this.index = idx;
    this.show();
  }

  keyed(event) {
    const { plot, data } = this.panels[0];
    const last = (data?.[0].length ?? 0) - 1;
    const step = event.shiftKey ? KEY_LEAP : KEY_STEP;
    const next = { ArrowLeft: this.index - step, ArrowRight: this.index + step, PageDown: this.index - 3 * KEY_LEAP, PageUp: this.index + 3 * KEY_LEAP, Home: 0, End: last }[event.key];
    if (next === undefined || !plot || last < 0) return;
    event.preventDefault();
    event.stopPropagation();
    this.index = Math.max(0, Math.min(last, next));
    plot.setCursor({ left: plot.valToPos(data[0][this.index], "x"), top: 10 });
    this.show();
  }

  tabulate() {
    if (!this.details.open) return;
    const grid = [];
    const step = (this.to / this.from) ** (1 / (TABLE_ROWS - 1));
    const all = this.panels[0].data?.[0] ?? [];
    for (let hz = this.from; hz <= this.to * 1.001; hz *= step) {
      let near = 0;
      all.forEach((one, index) => { if (Math.abs(Math.log(one / hz)) < Math.abs(Math.log(all[near] / hz))) near = index; });
      if (all.length && grid.at(-1) !== all[near]) grid.push(all[near]);
    }
    const head = ["frequency", "note", ...this.curves.map((curve) => (curve.low_db ? `${curve.label} (95 %)` : curve.label))];
    const values = (hz) => this.at(hz).map((text, index) => text.slice(this.curves[index].label.length + 1));
    fill(this.numbers, el("table", {},
      el("thead", {}, el("tr", {}, head.map((text) => el("th", { scope: "col" }, text)))),
      el("tbody", {}, grid.map((hz) => el("tr", {}, el("th", { scope: "row" }, hertz(hz)), el("td", {}, note(hz)), values(hz).map((text) => el("td", { class: "figure" }, text)))))));
  }

  fit() {
    const width = this.stage.clientWidth;
    if (width === this.width || width === 0) return;
    this.width = width;
    for (const panel of this.panels) panel.rebuild();
  }

  restyle() {
    this.named = "";
    this.name(this.named);
    for (const panel of this.panels) panel.rebuild();
  }
}
