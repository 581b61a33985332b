// Runs beside the page: hands every block of raw samples on, in order.
class Samples extends AudioWorkletProcessor {
  process(inputs) {
    const channel = inputs[0][0];
    if (channel) this.port.postMessage({ block: channel.slice(), start: currentTime });
    return true;
  }
}
registerProcessor("samples", Samples);
