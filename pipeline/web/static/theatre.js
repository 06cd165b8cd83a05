// The theatre screen: draws what the server says of one case, and turns a press of pedal or button into a command.
"use strict";

const place = document.getElementById("theatre");
const may = Boolean(place.dataset.may);
const find = (id) => document.getElementById(id);
const kept = (name, value) => {
  if (value === undefined) return localStorage.getItem(`vox.${name}`);
  return localStorage.setItem(`vox.${name}`, value);
};

const PHASES = {
  ready: ["○", "Ready"], standby: ["◌", "Waiting for “note keeper, begin”"], listening: ["●", "Recording"],
  paused: ["❚❚", "Paused: nothing is recorded"], "read-back": ["●", "Recording"],
  ending: ["…", "Writing the note"], ended: ["✓", "Ended"],
};
const MARKS = { blocking: ["■", "Must settle"], warning: ["▲", "Check"], note: ["●", "Note"] };

let state = null;
let taken = false;
let leaving = false;
let serverMicrophone = false;
let starting = false;
let ownProblem = "";
let recovered = "";

const scheme = location.protocol === "https:" ? "wss" : "ws";
const link = new Link(`${scheme}://${location.host}/theatre/${place.dataset.case}/socket`, may, take, show);
const microphone = new Microphone(
  (sound, peak, at) => { link.add(sound, at); find("level").firstElementChild.style.width = `${Math.min(100, 130 * Math.sqrt(peak))}%`; },
  () => { ownProblem = "The microphone was lost. Nothing is recorded until it is back."; show(); },
);

const recording = () => microphone.open || serverMicrophone;

function take(message) {
  if (message.is === "state") {
    const before = state;
    state = message;
    link.zero = message.zero;
    // Before a case has begun, and while it waits for a voice to begin it, nothing is stored anywhere.
    link.stored = ["listening", "read-back", "paused"].includes(message.phase);
    taken = taken && !link.granted;
    drawState(before);
    follow(before);
  } else if (message.is === "ready") {
    if (message.record) taken = false;
  } else if (message.is === "partial") drawPartial(message.text);
  else if (message.is === "behind" && state) state.behind = message.seconds;
  else if (message.is === "taken") {
    taken = true;
    microphone.stop();
    vox.tell("Another screen records this case now.");
  } else if (message.is === "problem") ownProblem = `${message.what} ${message.do}`.trim();
  else if (message.is === "handed-over") {
    recovered = `${long(message.seconds)} of sound that this browser had kept are with the server now.`;
    vox.tell(recovered);
  } else if (message.is === "server-microphone") serverMicrophone = message.on;
  show();
}

// What this page does when the server changed the phase, by voice or from another screen.
function follow(before) {
  if (before && before.phase !== state.phase) {
    const [, words] = PHASES[state.phase];
    vox.tell(words);
    if (["listening", "read-back"].includes(state.phase) && before.phase === "standby") vox.tell("Recording. The note has begun.");
  }
  if (["ending", "ended"].includes(state.phase)) { microphone.stop(); link.pieces = []; }
  if (state.phase === "paused") microphone.stop();
  if (state.phase === "ended") link.final = true;
}

// ---- commands

async function record() {
  if (recording() || !may) return true;
  starting = true;
  ownProblem = "";
  show();
  try {
    if (find("microphone").value === "server") link.say({ do: "server-microphone", on: true });
    else await microphone.start(find("microphone").value);
    return true;
  } catch (problem) {
    ownProblem = problem.message;
    return false;
  } finally {
    starting = false;
    show();
  }
}

const commands = {
  async start() {
    if (find("microphone").value === "server") { link.say({ do: "begin" }); await record(); return; }
    if (await record()) link.say({ do: "begin" });
  },
  async standBy() {
    if (await record()) link.say({ do: "stand-by" });
  },
  async pause() {
    await microphone.stop();
    if (serverMicrophone) link.say({ do: "server-microphone", on: false });
    link.say({ do: "pause" });
  },
  async recordHere() {
    if (taken) link.socket.send(JSON.stringify({ do: "hello", session: link.session, record: true, take: true }));
    if (await record()) link.say({ do: "begin" });
  },
  readBack() { link.say({ do: "read-back" }); },
  back() { link.say({ do: "dictate" }); },
  confirm() { link.say({ do: "confirm" }); },
  async end() {
    leaving = true;
    await microphone.stop();
    if (serverMicrophone) link.say({ do: "server-microphone", on: false });
    link.say({ do: "end" });
    show();
  },
  review() { location.href = `/cases/${place.dataset.case}`; },
};

// What the large button and the small ones do in each phase: [command, label].
function ways() {
  if (!state) return [];
  if (!may) return [];
  const confirmed = state.confirmed && !state.confirmed.stale;
  if (leaving && !["ended", "ready"].includes(state.phase)) return [];
  if (["listening", "read-back"].includes(state.phase) && !recording() && !starting)
    return [["recordHere", taken ? "Record here instead" : "Go on recording here"], ["end", "End the case"]];
  return {
    ready: [["start", state.seconds > 0 ? "Go on recording" : "Start dictation"], ["standBy", "Start by voice"]],
    standby: [["start", "Start dictation"]],
    listening: [["readBack", "Read back"], ["pause", "Pause"]],
    paused: [["recordHere", "Go on recording"], ["end", "End the case"]],
    "read-back": confirmed
      ? [["end", "End the case"], ["back", "Back to dictation"]]
      : [["confirm", "Team has confirmed"], ["back", "Back to dictation"], ["end", "End without confirmation"]],
    ending: [], ended: [["review", "Review the note"]],
  }[state.phase];
}

let shownWays = "";
function drawWays() {
  const found = ways();
  const now = JSON.stringify([found, state?.phase, starting]);
  if (now === shownWays) return;
  shownWays = now;
  const go = find("go");
  const [first, ...rest] = found;
  go.disabled = !first || starting;
  go.textContent = starting ? "Opening the microphone" : first ? first[1] : state ? (may ? PHASES[state.phase][1] : "Looking on") : "Connecting";
  go.dataset.command = first ? first[0] : "";
  go.hidden = state?.phase === "ended";
  find("more").replaceChildren(...rest.map(([command, label]) => {
    const button = made("button", label);
    button.type = "button";
    button.addEventListener("click", () => commands[command]());
    return button;
  }));
  const key = kept("pedal") || "PageDown";
  find("hint").textContent = !may || !first ? "" : {
    ready: `Pedal or ${key}: start. By voice, after “Start by voice”: “note keeper, begin”.`,
    standby: `Say “note keeper, begin”. Nothing is stored until then.`,
    listening: `Pedal or ${key}: read back. By voice: “note keeper, read back”, “note keeper, end the note”.`,
    paused: `Pedal or ${key}: go on.`,
    "read-back": `Say “confirmed”, or press pedal or ${key}. Escape: back to dictation.`,
  }[state.phase] || "";
}

find("go").addEventListener("click", () => commands[find("go").dataset.command]?.());

document.addEventListener("keydown", (event) => {
  if (learning) {
    if (["Shift", "Control", "Alt", "Meta", "Tab"].includes(event.key)) return;
    event.preventDefault();
    kept("pedal", event.key === " " ? "Space" : event.key);
    learning = false;
    shownWays = "";
    pedalName();
    show();
    return;
  }
  if (event.repeat || ["INPUT", "SELECT", "TEXTAREA"].includes(event.target.tagName)) return;
  const key = event.key === " " ? "Space" : event.key;
  const own = ["BUTTON", "A", "SUMMARY"].includes(event.target.tagName) && ["Enter", "Space"].includes(key);
  if (key === (kept("pedal") || "PageDown") && !own) {
    event.preventDefault();
    if (!find("go").disabled) find("go").click();
  } else if (key === "Escape" && state?.phase === "read-back") commands.back();
});

// ---- drawing

function made(tag, text = "", kind = "") {
  const element = document.createElement(tag);
  if (text) element.textContent = text;
  if (kind) element.className = kind;
  return element;
}

function signed(element, [sign, words]) {
  element.querySelector(".sign").textContent = sign;
  element.querySelector(".words").textContent = words;
}

// A number and its unit stay on one line.
const whole = (text) => text.replace(/(\d) (?=[A-Za-zµ%])/g, "$1\u00a0");
const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
const long = (seconds) => (seconds < 90 ? `${Math.max(1, Math.round(seconds))} s` : `${Math.round(seconds / 60)} min`);

// What changes often: connection, length, what waits, the buttons.
function show() {
  const waiting = link.waiting;
  const active = state && ["listening", "read-back"].includes(state.phase);
  if (link.up && waiting < 3) signed(find("link"), ["✓", "Connected"]);
  else if (link.up) signed(find("link"), ["↥", `Handing over ${long(waiting)} of sound`]);
  else if (link.final) signed(find("link"), ["✓", "Closed"]);
  else signed(find("link"), ["✕", "No connection"]);
  find("link").dataset.up = link.up || link.final ? "yes" : "";
  if (state) {
    const idle = active && !recording() && may && !starting;
    const phase = idle && !taken ? ["✕", "NOT RECORDING"] : !recording() && active ? ["◉", "Recorded elsewhere"] : PHASES[state.phase];
    signed(find("phase"), phase);
    find("phase").dataset.phase = idle && !taken ? "idle" : state.phase;
    find("clock").querySelector(".digits").textContent = clock(Math.max(state.seconds, link.next === null || state.phase === "standby" ? 0 : link.next / RATE));
    find("lag").hidden = !(state.behind >= 3) || !active;
    find("lag").textContent = `The words are ${long(state.behind)} behind; no sound is lost.`;
  }
  if (!recording()) find("level").firstElementChild.style.width = "0";
  const trouble = ownProblem || (state?.problem && `${state.problem.what} ${state.problem.do}`) || "";
  const lost = !link.up && !link.final && link.tries > 0;
  const message = link.signedOut ? "You are signed out. Sign in again in another window; the sound is kept in this page meanwhile."
    : link.recovered && link.up ? `${long(link.recovered)} of sound of an earlier page of this case were kept in this browser. They are being handed over.`
    : lost ? (recording() ? `No connection to the server. The recording goes on in this page: ${long(waiting)} are kept here.` : "No connection to the server. Trying again.")
      : trouble || (recording() && link.unkept ? "This browser cannot keep sound: do not close this page while there is no connection." : "");
  const box = find("trouble");
  box.hidden = !message;
  // The seconds change too often to be read out each time.
  if (box.dataset.kind !== String(lost || link.signedOut) + trouble || !message) box.setAttribute("role", "alert");
  else box.removeAttribute("role");
  box.dataset.kind = String(lost || link.signedOut) + trouble;
  if (box.textContent !== message) {
    box.textContent = message;
    if (link.signedOut) {
      const way = made("a", "Sign in");
      way.href = "/sign-in";
      way.target = "_blank";
      box.append(" ", way);
    }
  }
  find("recovered").hidden = !recovered;
  find("recovered").textContent = recovered ? `✓ ${recovered}` : "";
  drawWays();
}

function drawState(before) {
  find("patient").textContent = state.patient;
  find("label").textContent = state.label;
  const side = find("side");
  side.textContent = state.side.text;
  side.dataset.how = state.side.how;
  if (state.side.how === "unsure") side.append(made("span", " ?", "doubtful"));
  find("side-why").textContent = ["unsure", "conflict", "missing"].includes(state.side.how) ? `${state.side.how === "conflict" ? "■" : "▲"} ${state.side.why}` : "";
  const [first, ...rest] = state.procedures;
  find("procedure").replaceChildren(first || "Procedure: not said yet");
  if (rest.length) find("procedure").append(made("span", ` + ${rest.join("; ")}`, "also"));
  find("heard").replaceChildren(...state.heard.toReversed().map(drawStretch));
  if (!state.heard.length) find("heard").append(made("p", "Nothing yet.", "empty-words"));
  if (state.partial) drawPartial(state.partial);
  drawNote(before);
  drawOpen(before);
  find("signout").replaceChildren(...state.signout.map(drawSignOut));
  const shown = state.phase === "read-back";
  find("readback").hidden = !shown;
  find("finished").hidden = state.phase !== "ended";
  find("areas").hidden = shown || state.phase === "ended";
  document.body.dataset.phase = state.phase;
  drawReadBack();
}

function drawStretch(stretch) {
  const line = made("p", "", "stretch");
  for (const run of stretch.runs) {
    if (!run.why) line.append(`${run.text} `);
    else {
      const mark = made("mark", run.text);
      mark.title = run.why;
      mark.append(made("span", "?", "q"), made("span", ` (unsure: ${run.why})`, "sr"));
      line.append(mark, " ");
    }
  }
  return line;
}

function drawPartial(text) {
  if (state) state.partial = text;
  find("heard").querySelector(".partial")?.remove();
  if (text) find("heard").prepend(made("p", `${text} …`, "partial"));
}

function drawNote(before) {
  const known = new Set((before?.sections || []).flatMap((section) => section.lines.map((line) => line.text)));
  let newest = null;
  const scrolled = find("note").scrollTop;
  find("note").replaceChildren(...state.sections.map((section) => {
    const block = made("div", "", "section");
    const list = made("ul");
    block.append(made("h3", section.name), list);
    for (const line of section.lines) {
      const item = made("li", whole(line.text));
      if (before && before.sections.length && !known.has(line.text)) { item.className = "new"; newest = item; }
      if (line.unsure) {
        item.append(made("span", " ?", "doubtful"));
        if (line.why) item.title = line.why;
        item.append(made("span", ` (unsure: ${line.why})`, "sr"));
      }
      list.append(item);
    }
    return block;
  }));
  if (!state.sections.length) find("note").append(made("p", "The note fills as you speak.", "empty-words"));
  find("note").scrollTop = scrolled;
  if (newest) find("note").scrollTop = newest.closest(".section").offsetTop - find("note").offsetTop - 8;
}

function drawOpen(before) {
  const now = state.open.filter((one) => one.now);
  const later = state.open.filter((one) => !one.now);
  find("count").textContent = now.length ? `(${now.length})` : "";
  find("now").replaceChildren(...now.map((one) => {
    const item = made("li", "", one.severity);
    const [sign, words] = MARKS[one.severity];
    const head = made("p", "", "what");
    const mark = made("span", sign, "sign");
    mark.setAttribute("aria-hidden", "true");
    head.append(mark, made("b", ` ${words}: `), one.message);
    item.append(head);
    if (one.arithmetic) item.append(made("p", one.arithmetic, "sum"));
    if (one.ask) item.append(made("p", one.ask, "ask"));
    return item;
  }));
  const nothing = made("p", state.heard.length ? "✓ Nothing is open." : "", "empty-words");
  const rest = made("p", "", "rest");
  if (later.length) rest.append(made("b", "Before signing: "), later.map((one) => one.short).join(" · "));
  find("later").replaceChildren(...(now.length ? [] : [nothing]), rest);
  const blocking = now.filter((one) => one.severity === "blocking").map((one) => one.key);
  const had = new Set((before?.open || []).map((one) => one.key));
  const fresh = now.find((one) => blocking.includes(one.key) && !had.has(one.key));
  if (fresh && before) vox.tell(`Must settle: ${fresh.message}`);
}

// ---- set up

let learning = false;
function pedalName() { find("pedal").textContent = learning ? "Press the pedal now" : kept("pedal") || "PageDown"; }
find("pedal").addEventListener("click", () => { learning = true; pedalName(); });
pedalName();

find("bright").checked = kept("bright") === "yes";
const light = () => document.body.classList.toggle("bright", find("bright").checked);
find("bright").addEventListener("change", () => { kept("bright", find("bright").checked ? "yes" : ""); light(); });
light();

navigator.mediaDevices?.enumerateDevices().then((devices) => {
  for (const device of devices.filter((one) => one.kind === "audioinput" && one.label && one.deviceId !== "default")) {
    const option = made("option", device.label);
    option.value = device.deviceId;
    find("microphone").insertBefore(option, find("microphone").lastElementChild);
  }
});

addEventListener("beforeunload", (event) => {
  if (recording() || link.pieces.length) event.preventDefault();
});
