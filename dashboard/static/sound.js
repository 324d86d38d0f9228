// A sound for each state that asks for something, our own: notes as [Hz, seconds, how many times]. The hand waits for
// "stop" alone, so that is the only high and hard one; a sound is answered some 30 ms sooner than a light (common practice,
// no source).
export const SOUNDS = {
  pour: ["sine", [[330, 0.12, 1], [440, 0.16, 1]]],
  ease: ["sine", [[392, 0.07, 3]]],
  stop: ["square", [[1319, 0.35, 1]]],
  top_up: ["sine", [[523, 0.05, 2], [392, 0.1, 1]]],
  inside: ["sine", [[523, 0.1, 1], [659, 0.1, 1], [784, 0.2, 1]]],
  within: ["sine", [[523, 0.1, 1], [659, 0.1, 1], [784, 0.1, 1], [1047, 0.35, 1]]],
  above: ["triangle", [[494, 0.18, 1], [370, 0.3, 1]]],
  outside: ["triangle", [[494, 0.18, 1], [370, 0.18, 1], [277, 0.4, 1]]],
  unproven: ["triangle", [[440, 0.18, 2]]],
  cant_tell: ["triangle", [[440, 0.18, 2]]],
  change_over: ["sine", [[440, 0.14, 1], [330, 0.2, 1]]],
  correct: ["triangle", [[370, 0.14, 2], [494, 0.2, 1]]],
  answer: ["sine", [[587, 0.14, 1], [587, 0.14, 1], [880, 0.25, 1]]],
  lost: ["sawtooth", [[196, 0.25, 3]]],
};

const GAP = 0.04; // s between two notes

// makeSound() gives play(state). A browser lets a page sound only after a touch or a key.
export function makeSound() {
  let context = null;
  return function play(state) {
    if (!SOUNDS[state]) return;
    context ??= new AudioContext();
    context.resume();
    const [type, notes] = SOUNDS[state];
    let at = context.currentTime;
    for (const [hz, length, times] of notes) for (let n = 0; n < times; n++) at = note(type, hz, at, length) + GAP;
  };

  function note(type, hz, at, length) {
    const tone = new OscillatorNode(context, { type, frequency: hz }), loud = new GainNode(context, { gain: 0 });
    const full = type === "sine" ? 0.5 : 0.2; // the others have overtones
    loud.gain.setValueAtTime(0, at);
    loud.gain.linearRampToValueAtTime(full, at + 0.008); // no clicks
    loud.gain.setValueAtTime(full, at + length - 0.02);
    loud.gain.linearRampToValueAtTime(0, at + length);
    tone.connect(loud).connect(context.destination);
    tone.start(at);
    tone.stop(at + length);
    return at + length;
  }
}
