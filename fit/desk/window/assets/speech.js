// The step read aloud by the browser's own voices, where that is asked for: only by voices of this machine, since others send
// what they say elsewhere.

import { kept } from "./dom.js";

const KEY = "spoken";

export const canSpeak = () => "speechSynthesis" in globalThis;

if (canSpeak()) speechSynthesis.getVoices(); // a browser may look for them only when asked, and have them later

export function voice() {
  if (!canSpeak()) return null;
  const here = speechSynthesis.getVoices().filter((one) => one.localService);
  return here.find((one) => one.lang.startsWith("en") && one.default) ?? here.find((one) => one.lang.startsWith("en")) ?? null;
}

export const isAsked = () => kept.read(KEY, "no") === "yes";

export function ask(yes) {
  kept.write(KEY, yes ? "yes" : "no");
  if (!yes && canSpeak()) speechSynthesis.cancel();
}

// Signs that voices stumble over, as words.
export const spoken = (text) =>
  text.replace(/±/g, " plus or minus ").replace(/(\d)\s*%/g, "$1 percent").replace(/\bkΩ/g, " kilohms").replace(/Ω/g, " ohms")
    .replace(/(\d)n\b/g, "$1 nanofarads").replace(/(\d)p\b/g, "$1 picofarads").replace(/…/g, " to ").replace(/\s+/g, " ").trim();

export function speak(text) {
  const one = voice();
  if (!isAsked() || one === null) return false;
  speechSynthesis.cancel();
  const said = new SpeechSynthesisUtterance(spoken(text));
  said.voice = one;
  said.lang = one.lang;
  speechSynthesis.speak(said);
  return true;
}
