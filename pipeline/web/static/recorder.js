// Runs in the audio thread: collects a quarter of a second of 16 kHz mono sound at a time, as 16 bit.
"use strict";

const PIECE = 4000;

class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.piece = new Int16Array(PIECE);
    this.filled = 0;
    this.peak = 0;
    this.over = false;
    this.port.onmessage = () => { this.over = true; };
  }

  process(inputs) {
    const channel = inputs[0][0];
    if (channel) {
      for (let at = 0; at < channel.length; at += 1) {
        const value = Math.max(-1, Math.min(1, channel[at]));
        this.peak = Math.max(this.peak, Math.abs(value));
        this.piece[this.filled] = Math.round(value * 32767);
        this.filled += 1;
        if (this.filled === PIECE) this.hand();
      }
    }
    if (!this.over) return true;
    this.hand();
    this.port.postMessage({ over: true });
    return false;
  }

  hand() {
    if (!this.filled) return;
    const sound = this.piece.slice(0, this.filled);
    // The time is taken here: the page may be late in taking the message.
    this.port.postMessage({ sound, peak: this.peak, at: Date.now() }, [sound.buffer]);
    this.filled = 0;
    this.peak = 0;
  }
}

registerProcessor("vox-recorder", Recorder);
