// Records a spin in the page: raw samples, taps on their clock, and the motion of a phone on the crank.
import { CLIPPED, Guide, QUIETEST, clippedShare, decibels, runningLevel, soundingLevel } from "/static/levels.js";
import { gyroTable, marksTable, waveFile } from "/static/wave.js";

const WORDS = {
  still: "Keep still …",
  push: "Now one firm push, and hands away",
  run: "Let it run until it stops",
  "still again": "Keep still …",
  done: "If it stands, end and send",
};
const BLOCK_S = 0.1;
const LONGEST_S = 60; // judgement: no crank coasts for as long
const page = (id) => document.getElementById(id);
const form = page("form");
const onCrank = () => form.elements.way.value === "crank";

let recording = null;

class Recording {
  constructor(context, stream, settings) {
    Object.assign(this, { context, stream, settings });
    this.blocks = [];
    this.pending = [];
    this.taps = [];
    this.motion = [];
    this.first = null;
    this.clipped = 0;
    this.guide = new Guide();
  }

  take({ block, start }) {
    if (this.first === null) this.first = start;
    this.blocks.push(block);
    this.pending.push(block);
    const held = this.pending.reduce((sum, one) => sum + one.length, 0);
    if (held < BLOCK_S * this.context.sampleRate) return;
    const whole = new Float32Array(held);
    let at = 0;
    for (const one of this.pending) {
      whole.set(one, at);
      at += one.length;
    }
    this.pending = [];
    this.show(whole, start - this.first);
  }

  show(block, time) {
    const level = soundingLevel(block);
    this.clipped = Math.max(this.clipped, clippedShare(block));
    const state = this.guide.take(decibels(runningLevel(block)), time);
    page("guide").textContent = WORDS[state];
    page("meter").value = Math.max(0, 1 + decibels(level) / 90);
    page("level").textContent =
      level < QUIETEST ? "Nothing is heard: is the microphone covered?"
        : this.clipped > CLIPPED ? "Too loud: hold the phone a little farther away, and begin again."
          : decibels(level) < -75 ? "Very quiet: hold the phone closer." : "Good.";
    // Whether the crank stands, eyes tell better than ears: its last turns can be quieter than the room.
    if (time > LONGEST_S) finish();
  }

  // Seconds on the recording's own clock of a moment on the page's clock [ms].
  clock(stamp) {
    const both = this.context.getOutputTimestamp?.();
    const context = both?.performanceTime
      ? both.contextTime + (stamp - both.performanceTime) / 1000
      : this.context.currentTime + (stamp - performance.now()) / 1000;
    return context - this.first;
  }
}

async function begin() {
  if (!navigator.mediaDevices?.getUserMedia) {
    page("guide").textContent =
      "This browser gives a page no microphone here. Ask for the page by its https address, or film the spin instead.";
    return;
  }
  if (onCrank() && typeof DeviceMotionEvent !== "undefined" && DeviceMotionEvent.requestPermission) {
    if ((await DeviceMotionEvent.requestPermission()) !== "granted") {
      page("guide").textContent = "The phone was not allowed to tell its motion. Allow it, or tap along instead.";
      return;
    }
  }
  // All is ready before the microphone opens: its first seconds are the still ones.
  const context = new AudioContext();
  await context.audioWorklet.addModule("/static/samples.js");
  const node = new AudioWorkletNode(context, "samples");
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
    });
  } catch (error) {
    page("guide").textContent = `The microphone cannot be used (${error.name}). Allow it for this page, or film the spin instead.`;
    return;
  }
  recording = new Recording(context, stream, stream.getAudioTracks()[0].getSettings());
  node.port.onmessage = (message) => recording?.take(message.data);
  context.createMediaStreamSource(stream).connect(node);
  page("begin").hidden = true;
  page("stop").hidden = false;
  page("tap").hidden = onCrank();
  if (onCrank()) addEventListener("devicemotion", moved);
  page("guide").focus();
}

function moved(event) {
  const rate = event.rotationRate;
  if (recording?.first == null || !rate) return;
  recording.motion.push([recording.clock(event.timeStamp), rate.beta ?? 0, rate.gamma ?? 0, rate.alpha ?? 0]);
}

function tapped(event) {
  if (recording?.first == null) return;
  recording.taps.push(recording.clock(event.timeStamp));
  page("taps").textContent = `${recording.taps.length} taps`;
}

async function finish() {
  const done = recording;
  if (!done) return;
  recording = null;
  removeEventListener("devicemotion", moved);
  done.stream.getTracks().forEach((track) => track.stop());
  await done.context.close();
  page("stop").hidden = true;
  page("tap").hidden = true;
  const taps = [...done.taps].sort((a, b) => a - b).filter((time) => time > 0);
  const values = new FormData(form);
  const way = onCrank() && done.motion.length ? "crank" : taps.length > 2 ? "taps" : values.get("turns") ? "turns" : "sound";
  values.set("way", way);
  if (way === "taps") values.set("marks", marksTable(taps));
  if (way === "crank") values.set("gyro", gyroTable(done.motion));
  const asked = ["echoCancellation", "noiseSuppression", "autoGainControl"];
  const kept = asked.filter((name) => done.settings[name]);
  values.set("recorder", `in the page; ${kept.length ? `the browser kept ${kept.join(", ")}` : "no processing"}`);
  values.append("recording", waveFile(done.blocks, done.context.sampleRate), "spin.wav");
  page("guide").textContent = "Sending …";
  const answer = await fetch(form.action, { method: "POST", body: values }).catch(() => null);
  if (answer?.ok) {
    location.assign(answer.url);
    return;
  }
  const text = answer ? new DOMParser().parseFromString(await answer.text(), "text/html") : null;
  page("guide").textContent = text
    ? [...text.querySelectorAll("main p")].slice(0, 2).map((line) => line.textContent).join(" ")
    : "It did not arrive: is the phone still in the workshop’s network?";
  page("begin").hidden = false;
}

page("begin").addEventListener("click", () => {
  if (form.reportValidity()) begin();
});
page("stop").addEventListener("click", finish);
page("tap").addEventListener("pointerdown", tapped);
page("tap").addEventListener("keydown", (event) => {
  if ((event.key === " " || event.key === "Enter") && !event.repeat) tapped(event);
});
