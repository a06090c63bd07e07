// A recording through a change: the program's impulse response, as loud as the recording by the K-weighting of ITU-R BS.1770, with
// as little left of full scale as `listen` leaves. The recording stays in this page.

const CEILING = 10 ** (-0.1 / 20); // of full scale
const MOST_BLOCK = 2 ** 19; // samples that are transformed at once
const K_RATE_HZ = 48000; // ITU-R BS.1770-4, annex 1, tables 1 and 2: b and a of the shelf and of the high-pass, at 48 kHz
const K_SHELF = [[1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585]];
const K_HIGH_PASS = [[1, -2, 1], [1, -1.99004745483398, 0.99007225036621]];

export function samplesOf(base64) {
  const bytes = Uint8Array.from(atob(base64), (one) => one.charCodeAt(0));
  return new Float32Array(bytes.buffer);
}

// Sample rate that a WAV or FLAC file states; null where it is another kind of file.
export function rateOf(buffer) {
  const view = new DataView(buffer);
  const text = (at, length) => String.fromCharCode(...new Uint8Array(buffer, at, length));
  if (view.byteLength < 44) return null;
  if (text(0, 4) === "fLaC") return (view.getUint8(18) << 12) | (view.getUint8(19) << 4) | (view.getUint8(20) >> 4);
  if (text(0, 4) !== "RIFF" || text(8, 4) !== "WAVE") return null;
  for (let at = 12; at + 16 <= view.byteLength; at += 8 + view.getUint32(at + 4, true) + (view.getUint32(at + 4, true) % 2)) {
    if (text(at, 4) === "fmt ") return view.getUint32(at + 12, true);
  }
  return null;
}

// Fourier transform in place, of a power of two.
function transform(re, im) {
  const n = re.length;
  for (let i = 1, j = 0; i < n; i++) {
    let bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) { [re[i], re[j]] = [re[j], re[i]]; [im[i], im[j]] = [im[j], im[i]]; }
  }
  for (let size = 2; size <= n; size *= 2) {
    const half = size / 2;
    const [cos, sin] = [new Float64Array(half), new Float64Array(half)];
    for (let k = 0; k < half; k++) { cos[k] = Math.cos((-2 * Math.PI * k) / size); sin[k] = Math.sin((-2 * Math.PI * k) / size); }
    for (let start = 0; start < n; start += size) {
      for (let k = 0; k < half; k++) {
        const [a, b] = [start + k, start + k + half];
        const [tr, ti] = [re[b] * cos[k] - im[b] * sin[k], re[b] * sin[k] + im[b] * cos[k]];
        re[b] = re[a] - tr; im[b] = im[a] - ti;
        re[a] += tr; im[a] += ti;
      }
    }
  }
}

function power(samples, size) {
  const [re, im] = [new Float64Array(size), new Float64Array(size)];
  re.set(samples);
  transform(re, im);
  const out = new Float64Array(size / 2 + 1);
  for (let k = 0; k <= size / 2; k++) out[k] = re[k] ** 2 + im[k] ** 2;
  return out;
}

function response(z, [b, a]) {
  const at = (c) => [c[0] + c[1] * z[0] + c[2] * (z[0] ** 2 - z[1] ** 2), c[1] * z[1] + c[2] * 2 * z[0] * z[1]];
  const [n, d] = [at(b), at(a)];
  return (n[0] ** 2 + n[1] ** 2) / (d[0] ** 2 + d[1] ** 2);
}

function kWeight(size, rateHz) {
  const out = new Float64Array(size / 2 + 1);
  for (let k = 0; k <= size / 2; k++) {
    const phase = (-2 * Math.PI * Math.min((k * rateHz) / size, K_RATE_HZ / 2)) / K_RATE_HZ;
    const z = [Math.cos(phase), Math.sin(phase)];
    out[k] = response(z, K_SHELF) * response(z, K_HIGH_PASS) * (k === 0 || k === size / 2 ? 1 : 2);
  }
  return out;
}

// What a recording holds, frequency by frequency, weighted as it is heard: once for each recording, letting others work in between.
export async function spectrumOf(audio, longest) {
  let size = 2 ** 12;
  while (size < MOST_BLOCK * 2 && size < 2 * audio.length + longest) size *= 2;
  const block = Math.max(size - longest, size / 2);
  const weight = kWeight(size, audio.sampleRate);
  const sum = new Float64Array(size / 2 + 1);
  for (let channel = 0; channel < audio.numberOfChannels; channel++) {
    const samples = audio.getChannelData(channel);
    for (let start = 0; start < samples.length; start += block) {
      power(samples.subarray(start, Math.min(start + block, samples.length)), size).forEach((one, k) => { sum[k] += one * weight[k]; });
      await new Promise((done) => { setTimeout(done); });
    }
  }
  return { size, sum };
}

// How much louder a change makes it; 1 over it makes both alike.
export function levelChange({ size, sum }, impulse) {
  const gain = power(impulse.subarray(0, size), size);
  let [before, after] = [0, 0];
  sum.forEach((one, k) => { before += one; after += one * gain[k]; });
  return Math.sqrt(after / before);
}

export function impulseBuffer(context, impulse, rateHz) {
  const buffer = context.createBuffer(1, impulse.length, rateHz);
  buffer.copyToChannel(impulse, 0);
  return buffer;
}

export function convolver(context, impulse, rateHz) {
  const node = new ConvolverNode(context, { disableNormalization: true });
  node.buffer = impulseBuffer(context, impulse, rateHz);
  return node;
}

// The whole recording through the change: as `listen` writes it, as loud as before, lower where it would clip.
export async function render(audio, impulse, spectrum) {
  const context = new OfflineAudioContext(audio.numberOfChannels, audio.length, audio.sampleRate);
  const source = new AudioBufferSourceNode(context, { buffer: audio });
  source.connect(convolver(context, impulse, audio.sampleRate)).connect(context.destination);
  source.start();
  const out = await context.startRendering();
  const gain = 1 / levelChange(spectrum, impulse);
  let peak = 0;
  for (let channel = 0; channel < out.numberOfChannels; channel++) for (const one of out.getChannelData(channel)) peak = Math.max(peak, Math.abs(one));
  const lowered = Math.min(1, CEILING / (gain * peak));
  for (let channel = 0; channel < out.numberOfChannels; channel++) {
    const samples = out.getChannelData(channel);
    for (let k = 0; k < samples.length; k++) samples[k] *= gain * lowered;
  }
  return { audio: out, gain, lowered };
}

// 24 bits, as a file for whoever wants to keep it.
export function wavOf(audio) {
  const [channels, frames] = [audio.numberOfChannels, audio.length];
  const view = new DataView(new ArrayBuffer(44 + 3 * channels * frames));
  const put = (at, text) => [...text].forEach((one, k) => view.setUint8(at + k, one.charCodeAt(0)));
  put(0, "RIFF"); view.setUint32(4, 36 + 3 * channels * frames, true); put(8, "WAVEfmt "); view.setUint32(16, 16, true);
  view.setUint16(20, 1, true); view.setUint16(22, channels, true); view.setUint32(24, audio.sampleRate, true);
  view.setUint32(28, 3 * channels * audio.sampleRate, true); view.setUint16(32, 3 * channels, true); view.setUint16(34, 24, true);
  put(36, "data"); view.setUint32(40, 3 * channels * frames, true);
  const data = Array.from({ length: channels }, (_, channel) => audio.getChannelData(channel));
  let at = 44;
  for (let k = 0; k < frames; k++) {
    for (const samples of data) {
      const value = Math.max(-8388608, Math.min(8388607, Math.round(samples[k] * 8388608)));
      view.setUint16(at, value & 0xffff, true); view.setUint8(at + 2, (value >> 16) & 0xff);
      at += 3;
    }
  }
  return new Blob([view.buffer], { type: "audio/wav" });
}

// Plays in a circle, cross-faded from one filter to the next, so that a slider that moves is heard moving.
export class Player {
  constructor(audio, { fadeS = 0.06 } = {}) {
    Object.assign(this, { audio, fadeS, paths: [], source: null });
    this.context = new AudioContext({ sampleRate: audio.sampleRate });
    this.input = new GainNode(this.context);
  }

  // A path of its own for each filter; the one before fades out and goes.
  use(impulse, gain) {
    const { context, fadeS } = this;
    const now = context.currentTime;
    const filter = impulse ? convolver(context, impulse, context.sampleRate) : new GainNode(context);
    const fade = new GainNode(context, { gain: 0 });
    this.input.connect(filter).connect(fade).connect(context.destination);
    fade.gain.setValueAtTime(0, now);
    fade.gain.linearRampToValueAtTime(gain, now + fadeS);
    for (const old of this.paths) {
      old.fade.gain.cancelAndHoldAtTime?.(now);
      old.fade.gain.linearRampToValueAtTime(0, now + fadeS);
      setTimeout(() => { this.input.disconnect(old.filter); old.fade.disconnect(); }, 1000 * fadeS + 200);
    }
    this.paths = [{ filter, fade }];
  }

  async play() {
    await this.context.resume();
    if (this.source) return;
    this.source = new AudioBufferSourceNode(this.context, { buffer: this.audio, loop: true });
    this.source.connect(this.input);
    this.source.start();
  }

  stop() {
    this.source?.stop();
    this.source?.disconnect();
    this.source = null;
  }

  end() {
    this.stop();
    this.context.close();
  }
}
