// The way of the sound: microphone, numbered pieces that stay here until the server has them, the socket.
"use strict";

const RATE = 16000;
// Sound that is missing for longer than this is a hole, not a late clock; milliseconds.
const HOLE = 750;
const LONGEST_HOLE = 600000;
const SILENT_FOR = 6000;

// Microphone of the browser -> told(sound, peak, at). `lost` is called when the microphone goes away.
class Microphone {
  constructor(told, lost) {
    Object.assign(this, { told, lost });
  }

  get open() { return Boolean(this.context); }

  async start(device) {
    const sound = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    if (device) sound.deviceId = { exact: device };
    if (!navigator.mediaDevices) throw new Error("This page was not loaded safely (HTTPS or this machine), so the browser gives no microphone.");
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: sound });
    } catch (problem) {
      throw new Error(problem.name === "NotAllowedError"
        ? "The browser was not allowed to use the microphone. Allow it beside the address, then start again."
        : "There is no microphone that the browser can use. Plug one in, or choose the server's under Set up.");
    }
    this.context = new AudioContext({ sampleRate: RATE });
    await this.context.audioWorklet.addModule("/static/recorder.js");
    this.node = new AudioWorkletNode(this.context, "vox-recorder", { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    this.node.port.onmessage = ({ data }) => (data.over ? this.closed?.() : this.told(data.sound, data.peak, data.at));
    this.stream.getAudioTracks()[0].addEventListener("ended", () => { this.stop(); this.lost(); });
    this.context.createMediaStreamSource(this.stream).connect(this.node);
    await this.context.resume();
  }

  // Ends the sound; what is in the audio thread still comes.
  async stop() {
    if (!this.context) return;
    const { context, stream, node } = this;
    this.context = null;
    const over = new Promise((done) => { this.closed = done; setTimeout(done, 1000); });
    node.port.postMessage("over");
    await over;
    stream.getTracks().forEach((track) => track.stop());
    await context.close();
  }
}

// Sound that the server does not have yet, kept in the browser's own database so that a closed or reloaded page loses
// none. A piece is written when it is taken and goes when the server says that it is on its disk. A page holds the lock
// of its session while it lives; what lies here of a session without one was left behind by a page that is gone.
const shelf = {
  opened: null,

  open() {
    shelf.opened ||= new Promise((done, failed) => {
      const asked = indexedDB.open("vox", 1);
      asked.addEventListener("upgradeneeded", () => asked.result.createObjectStore("sound", { keyPath: ["place", "session", "position"] }));
      asked.addEventListener("success", () => done(asked.result));
      asked.addEventListener("error", () => failed(asked.error));
    });
    return shelf.opened;
  },

  async change(work) {
    const base = await shelf.open();
    return new Promise((done, failed) => {
      const change = base.transaction("sound", "readwrite");
      const asked = work(change.objectStore("sound"));
      change.addEventListener("complete", () => done(asked.result));
      change.addEventListener("abort", () => failed(change.error));
    });
  },

  put(place, session, piece, zero) {
    return shelf.change((store) => store.put({ place, session, position: piece.position - zero, sound: piece.sound }));
  },

  // What lies before sample `before`, as the case counts, is on the server's disk.
  drop(place, session, before) {
    if (before <= 0) return Promise.resolve();
    return shelf.change((store) => store.delete(IDBKeyRange.bound([place, session, -Infinity], [place, session, before], false, true)));
  },

  // The pieces left behind by pages of this case that are gone, oldest first, and their sessions.
  async left(place) {
    const rows = await shelf.change((store) => store.getAll(IDBKeyRange.bound([place], [place, []])));
    const alive = new Set(((await navigator.locks?.query())?.held || []).map((lock) => lock.name));
    return rows.filter((row) => !alive.has(`vox-${row.session}`)).sort((one, other) => one.position - other.position);
  },

  hold(session) { navigator.locks?.request(`vox-${session}`, () => new Promise(() => {})); },
};

// Sound in numbered pieces and commands, in order, over a connection that may be lost. `told`: messages of the server;
// `changed`: called when the connection or what waits here has changed.
class Link {
  constructor(address, record, told, changed) {
    Object.assign(this, { address, record, told, changed });
    this.session = crypto.randomUUID();
    this.place = new URL(address).pathname;
    this.pieces = [];
    this.left = []; // sessions whose sound was found on the shelf
    this.zero = 0;
    this.commands = [];
    this.up = false;
    this.granted = false;
    this.next = null;
    this.tries = 0;
    this.signedOut = false;
    shelf.hold(this.session);
    this.ready = record ? this.findLeft() : Promise.resolve();
    this.ready.finally(() => this.connect());
    setInterval(() => this.watch(), 500);
  }

  // Seconds of sound that the server does not have yet.
  get waiting() { return this.pieces.reduce((sum, piece) => sum + piece.sound.length, 0) / RATE; }

  // Takes up the sound that an earlier page of this case could not hand over.
  async findLeft() {
    try {
      const rows = await shelf.left(this.place);
      this.left = [...new Set(rows.map((row) => row.session))];
      this.pieces = rows.map((row) => ({ position: row.position, sound: row.sound, sent: false, left: true }));
      this.recovered = this.waiting;
    } catch { this.unkept = true; }
  }

  async keep(piece) {
    try { await shelf.put(this.place, this.session, piece, this.zero); } catch { this.unkept = true; }
  }

  connect(take = false) {
    const socket = new WebSocket(this.address);
    this.socket = socket;
    socket.binaryType = "arraybuffer";
    this.lastSign = Date.now();
    socket.addEventListener("open", () => {
      this.tries = 0;
      socket.send(JSON.stringify({ do: "hello", session: this.session, record: this.record, take }));
    });
    socket.addEventListener("message", ({ data }) => { if (socket === this.socket) this.take(JSON.parse(data)); });
    socket.addEventListener("close", (event) => { if (socket === this.socket) this.lost(event); });
  }

  lost(event) {
    this.up = this.granted = false;
    if (event.code === 1008 || (event.code === 1006 && this.signedOut)) this.signedOut = true;
    if (!this.final) setTimeout(() => this.connect(), Math.min(4000, 300 * 2 ** this.tries));
    this.tries += 1;
    this.changed();
  }

  // A connection that says nothing while sound waits is dead, whatever the browser thinks.
  watch() {
    const waits = this.pieces.some((piece) => piece.sent);
    if (!this.socket && !this.tries) return;
    if (this.up && waits && Date.now() - this.lastSign > SILENT_FOR) {
      const dead = this.socket;
      this.socket = null;
      dead.close();
      this.lost({ code: 0 });
    }
    this.pump();
    this.changed();
  }

  take(message) {
    this.lastSign = Date.now();
    if (message.is === "ready") {
      this.up = true;
      this.signedOut = false;
      this.granted = message.record;
      this.readyAt = Date.now();
      this.zero = message.zero;
      this.at = message.at;
      this.forget(message.received);
      const last = this.pieces[this.pieces.length - 1];
      if (last?.left) this.at = Math.max(this.at, last.position + last.sound.length);
      this.pieces.forEach((piece) => { piece.sent = false; });
      this.pump();
    } else if (message.is === "kept") {
      this.forget(message.received);
      this.pump();
    } else if (message.is === "taken") this.granted = false;
    else if (message.is === "signed-out") this.signedOut = true;
    else if (message.is === "problem" && message.final) this.final = true;
    this.told(message);
    this.changed();
  }

  forget(received) {
    let gone = false;
    while (this.pieces.length && this.pieces[0].position + this.pieces[0].sound.length <= received) { this.pieces.shift(); gone = true; }
    if (!gone) return;
    const before = this.pieces.length ? this.pieces[0].position : received;
    for (const session of [this.session, ...this.left]) shelf.drop(this.place, session, before - this.zero).catch(() => { this.unkept = true; });
    if (this.recovered && !this.pieces.some((piece) => piece.left)) {
      this.told({ is: "handed-over", seconds: this.recovered });
      this.recovered = 0;
      this.left = [];
    }
  }

  // A piece of sound whose last sample was taken at `at` (milliseconds): numbered, kept, sent when it can be.
  add(sound, at) {
    const long = (1000 * sound.length) / RATE;
    if (this.next === null) {
      const since = this.at ? Math.min(LONGEST_HOLE, at - long - this.readyAt) : 0;
      this.next = (this.at || 0) + Math.max(0, Math.round((since * RATE) / 1000));
      this.clock = at - long;
    }
    const missing = at - long - this.clock;
    if (missing > HOLE) {
      this.next += Math.round((Math.min(missing, LONGEST_HOLE) * RATE) / 1000);
      this.clock = at - long;
    } else this.clock += missing * 0.01; // two clocks never run quite alike
    const piece = { position: this.next, sound, sent: false };
    this.pieces.push(piece);
    if (this.stored) this.keep(piece);
    this.next += sound.length;
    this.clock += long;
    this.pump();
  }

  // A command goes after the sound that was taken before it.
  say(command) {
    this.commands.push({ ...command, after: this.next ?? 0 });
    this.pump();
  }

  pump() {
    if (!this.up) return;
    if (this.granted) {
      for (const piece of this.pieces) {
        if (piece.sent) continue;
        this.flushCommands(piece.position);
        if (this.socket.bufferedAmount > 1e6) return;
        const message = new ArrayBuffer(8 + 2 * piece.sound.length);
        new DataView(message).setBigUint64(0, BigInt(piece.position), true);
        new Int16Array(message, 8).set(piece.sound);
        this.socket.send(message);
        piece.sent = true;
      }
    }
    this.flushCommands(Infinity);
  }

  flushCommands(before) {
    while (this.commands.length && this.commands[0].after <= before) {
      const { after, ...command } = this.commands.shift();
      this.socket.send(JSON.stringify(command));
    }
  }
}
