// Samples as a WAV file of 16 bits, and times as the tables that the program reads.

export function waveFile(blocks, rate) {
  const count = blocks.reduce((sum, block) => sum + block.length, 0);
  const view = new DataView(new ArrayBuffer(44 + 2 * count));
  const text = (at, letters) => [...letters].forEach((letter, place) => view.setUint8(at + place, letter.charCodeAt(0)));
  text(0, "RIFF");
  view.setUint32(4, 36 + 2 * count, true);
  text(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, 2 * rate, true);
  view.setUint16(32, 2, true);
  view.setUint16(34, 16, true);
  text(36, "data");
  view.setUint32(40, 2 * count, true);
  let at = 44;
  for (const block of blocks) {
    for (const value of block) {
      view.setInt16(at, Math.round(Math.max(-1, Math.min(1, value)) * 32767), true);
      at += 2;
    }
  }
  return new Blob([view], { type: "audio/wav" });
}

export const marksTable = (times) => "time (s)\n" + times.map((time) => time.toFixed(4)).join("\n") + "\n";

export const gyroTable = (rows) =>
  "time (s), gyro x (deg/s), gyro y (deg/s), gyro z (deg/s)\n" +
  rows.map((row) => row.map((value) => value.toFixed(4)).join(", ")).join("\n") + "\n";
