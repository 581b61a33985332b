// Marks by tapping along while the recording is played, at whatever pace: times on the recording's own clock.
const part = document.getElementById("along");
const sound = document.getElementById("sound");
const taps = [];
part.hidden = false;
sound.preservesPitch = true;

function show() {
  const times = [...taps].sort((a, b) => a - b);
  document.getElementById("taps").textContent = taps.length ? `(${taps.length})` : "";
  document.getElementById("marks").value = times.length ? "time (s)\n" + times.map((time) => time.toFixed(3)).join("\n") : "";
  if (taps.length > 2) document.querySelector("input[name=way][value=taps]").checked = true;
}

document.getElementById("rate").addEventListener("change", (event) => {
  sound.playbackRate = Number(event.target.value);
});
const tap = document.getElementById("tap");
const take = () => {
  if (sound.paused) return;
  taps.push(sound.currentTime);
  show();
};
tap.addEventListener("pointerdown", take);
tap.addEventListener("keydown", (event) => {
  if ((event.key === " " || event.key === "Enter") && !event.repeat) take();
});
document.getElementById("clear").addEventListener("click", () => {
  taps.length = 0;
  show();
});
