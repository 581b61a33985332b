// Runs beside the page: hands every block of raw samples on, in order. Where the microphone gives none for a while,
// zeros take their place, so that taps and motion stay on the recording's clock.
class Samples extends AudioWorkletProcessor {
  process(inputs, outputs) {
    const channel = inputs[0][0];
    this.begun ||= Boolean(channel);
    if (this.begun) {
      const block = channel ? channel.slice() : new Float32Array(outputs[0][0].length);
      this.port.postMessage({ block, start: currentTime });
    }
    return true;
  }
}
registerProcessor("samples", Samples);
