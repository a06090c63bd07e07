// The one connection to the program: questions with answers, pushes, a sign of life each second, and coming back by itself.

import { el, fill, trouble } from "./dom.js";

const ALIVE_MS = 1000; // the program falls silent after 3 s without
const LONGEST_PAUSE_MS = 4000; // between two attempts to come back
const LOST = "The connection to the program is lost: is it still running in its terminal?";

export function connect() {
  const listeners = new Map();
  const openers = new Set();
  const waiting = new Map();
  let socket = null;
  let next = 1;
  let pause = 250;

  const tell = (message) => {
    for (const fn of listeners.get(message.kind) ?? []) fn(message);
  };

  const refuse = (text) => {
    for (const { reject } of waiting.values()) reject(new Error(text));
    waiting.clear();
  };

  const receive = (event) => {
    const message = JSON.parse(event.data);
    const asked = message.answers ? waiting.get(message.answers) : undefined;
    if (asked) waiting.delete(message.answers);
    if (message.kind === "refused") {
      tell(message);
      if (asked) asked.reject(new Error(message.text));
      else trouble(message.text);
      return;
    }
    tell(message);
    if (asked) asked.resolve(message);
  };

  const open = () => {
    socket = new WebSocket(`ws://${location.host}/socket`);
    socket.addEventListener("message", receive);
    socket.addEventListener("open", () => {
      pause = 250;
      trouble("");
      document.documentElement.dataset.connected = "yes";
      for (const fn of openers) fn();
    });
    socket.addEventListener("close", () => {
      document.documentElement.dataset.connected = "no";
      refuse(LOST);
      trouble(LOST);
      setTimeout(open, pause);
      pause = Math.min(2 * pause, LONGEST_PAUSE_MS);
    });
  };

  const isOpen = () => socket !== null && socket.readyState === WebSocket.OPEN;

  const post = (kind, fields) => {
    const id = next++;
    socket.send(JSON.stringify({ kind, id, ...fields }));
    return id;
  };

  const wire = {
    isOpen,
    send(kind, fields = {}) {
      if (isOpen()) post(kind, fields);
      else trouble(LOST);
    },
    ask(kind, fields = {}) {
      if (!isOpen()) return Promise.reject(new Error(LOST));
      return new Promise((resolve, reject) => {
        waiting.set(post(kind, fields), { resolve, reject });
      });
    },
    on(kind, fn) {
      if (!listeners.has(kind)) listeners.set(kind, new Set());
      listeners.get(kind).add(fn);
      return () => listeners.get(kind).delete(fn);
    },
    onOpen(fn) {
      openers.add(fn);
      if (isOpen()) fn();
    },
  };

  const card = document.getElementById("card");
  const over = el("button", { type: "button", onclick: () => wire.send("card_take") }, "Take it over");
  wire.on("card", ({ owner, held_by }) => {
    const state = owner ? "own" : held_by === null ? "free" : "other";
    if (document.documentElement.dataset.card === state) return;
    document.documentElement.dataset.card = state;
    fill(card, { own: "this page has the sound card", free: "", other: "another page has the sound card: this one looks on " }[state], state === "other" ? over : null);
  });
  setInterval(() => { if (isOpen()) post("alive", {}); }, ALIVE_MS);
  open();
  return wire;
}
