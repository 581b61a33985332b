// What the quality checks look at, as numbers of the samples so far. Ported from
// acoustic_plugins/quality/measures.py; a test holds both to the same answers.

/** Standard deviation about the mean over full scale. */
export function soundingLevel(sound) {
  if (!sound.length) return 0;
  let sum = 0;
  for (const value of sound) sum += value;
  const mean = sum / sound.length;
  let square = 0;
  for (const value of sound) square += (value - mean) ** 2;
  return Math.sqrt(square / sound.length);
}

const FEWEST_STEPS = 40;

/** Share of samples that sit in flat tops at the extreme value. */
export function clippedShare(sound) {
  let top = 0;
  for (const value of sound) top = Math.max(top, Math.abs(value));
  if (top === 0) return 0;
  let atTop = 0, justBelow = 0, inner = 0;
  let before = false, beforeThat = false;
  for (const value of sound) {
    const size = Math.abs(value);
    const here = size >= top * (1 - 1e-4);
    if (here) atTop += 1;
    else if (size >= top * 0.99) justBelow += 1;
    if (here && before && beforeThat) inner += 1;
    beforeThat = before;
    before = here;
  }
  const stride = Math.max(1, Math.floor(sound.length / 4096));
  const steps = new Set();
  for (let place = 0; place < sound.length && steps.size < FEWEST_STEPS; place += stride) steps.add(Math.abs(sound[place]));
  if (steps.size < FEWEST_STEPS || atTop <= justBelow / 2) return 0;
  return inner >= 5 ? inner / sound.length : 0;
}

/** Level in dB below full scale. */
export const decibels = (level) => 20 * Math.log10(Math.max(level, 1e-9));

// As the checks have them: about one step of 16 bits; some ten samples a second.
export const QUIETEST = 10 ** (-90 / 20);
export const CLIPPED = 0.0002;

/** Level of what changes from sample to sample: a room rumbles below, a bearing runs above. */
export const runningLevel = (sound) => soundingLevel(sound.slice(1).map((value, place) => value - sound[place]));

// The guide's own (judgement): a spin stands this far out of the room, which is known after a while. Blocks of a
// tenth of a second of steady noise differ by less than half a decibel.
const PUSH_DB = 2, STILL_DB = 1, STILL_S = 2;

/** Follows a spin by its levels: still, push, let it run, still again, done. */
export class Guide {
  constructor() {
    this.room = [];
    this.state = "still";
    this.since = 0;
    this.floor = null;
  }

  /** Take the level [dB] of the block that ended at this time [s]; return what is to be done now. */
  take(level, time) {
    if (this.state === "still") {
      this.room.push(level);
      if (time >= STILL_S) {
        this.floor = [...this.room].sort((a, b) => a - b)[Math.floor(this.room.length / 2)];
        this.state = "push";
      }
    } else if (this.state === "push") {
      if (level > this.floor + PUSH_DB) this.state = "run";
      this.since = time;
    } else {
      if (level > this.floor + STILL_DB) {
        this.since = time;
        this.state = "run";
      } else if (time - this.since > 0.5) this.state = "still again";
      if (time - this.since > STILL_S) this.state = "done";
    }
    return this.state;
  }
}
