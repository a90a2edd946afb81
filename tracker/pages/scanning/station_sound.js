/* Sounds without a file: a rhythm of its own for each kind, heard over a machine's noise. Sound starts after the first key or touch. */

const RHYTHMS = {
  ok: [[1320, 0, 0.12]],
  look: [[760, 0, 0.14], [760, 0.22, 0.14]],
  kept: [[990, 0, 0.06]],
  stop: [[300, 0, 0.28], [300, 0.38, 0.28], [300, 0.76, 0.45]],
}; // [hertz, start, length], in seconds

let context = null;

export function sound(kind) {
  const rhythm = RHYTHMS[kind];
  if (!rhythm || !window.AudioContext) return;
  context ??= new AudioContext();
  if (context.state === "suspended") context.resume();
  for (const [hertz, start, length] of rhythm) tone(hertz, context.currentTime + start, length);
}

function tone(hertz, at, length) {
  const source = context.createOscillator();
  const loudness = context.createGain();
  source.type = "square";
  source.frequency.value = hertz;
  loudness.gain.setValueAtTime(0.0001, at);
  loudness.gain.exponentialRampToValueAtTime(0.3, at + 0.01);
  loudness.gain.setValueAtTime(0.3, at + length - 0.02);
  loudness.gain.exponentialRampToValueAtTime(0.0001, at + length);
  source.connect(loudness).connect(context.destination);
  source.start(at);
  source.stop(at + length);
}
