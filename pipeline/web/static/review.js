// The coder's page: choosing a value, hearing it, deciding on it; all of it by keyboard too.
"use strict";

const work = document.getElementById("work");
const dialog = document.getElementById("decide");
const decideForm = document.getElementById("decide-form");
const place = document.getElementById("place");
const playButton = document.getElementById("play");
let chosen = null;
let at = 0;
let finish = null;

sound.setUp(work);
const path = `/api/cases/${work.dataset.case}`;
const seen = () => Number(work.querySelector(".standing-line").dataset.seen);
const editable = () => work.querySelector(".standing-line").dataset.editable === "1";
const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
const rows = () => [...work.querySelectorAll(".value, .finding")];

// --- choosing ---------------------------------------------------------------------------------------------------

function choose(row, focus = true) {
  chosen?.classList.remove("chosen");
  document.querySelectorAll(".w.of").forEach((word) => word.classList.remove("of"));
  chosen = row;
  if (!row) return;
  row.classList.add("chosen");
  if (focus) row.focus();
  if (row.dataset.first !== undefined) {
    const first = Number(row.dataset.first), last = Number(row.dataset.last);
    document.querySelectorAll("#transcript .w").forEach((word) => {
      word.classList.toggle("of", Number(word.dataset.last) >= first && Number(word.dataset.first) <= last);
    });
  }
  showWords();
  if (row.dataset.start !== undefined) move(Number(row.dataset.start));
}

// The stretch of speech that holds the words of the chosen value, always in sight while it sounds.
function showWords() {
  const strip = document.getElementById("strip");
  const holders = [...document.querySelectorAll("#transcript p:has(.w.of)")].slice(0, 2);
  strip.hidden = !holders.length;
  strip.replaceChildren(...holders.map((holder) => holder.cloneNode(true)));
}

function step(by) {
  const list = rows();
  const next = list[Math.min(list.length - 1, Math.max(0, list.indexOf(chosen) + by))] || list[0];
  choose(next);
}

function nextOpen() {
  const open = rows().filter((row) => row.matches(".decide, .finding:not(.settled)"));
  if (!open.length) { vox.tell("Nothing is left to decide."); return; }
  const list = rows();
  const after = open.find((row) => list.indexOf(row) > list.indexOf(chosen));
  choose(after || open[0]);
}

// --- sound ------------------------------------------------------------------------------------------------------

function move(seconds) {
  at = seconds;
  const cursor = document.getElementById("cursor");
  if (cursor && sound.length) {
    cursor.setAttribute("x", String((1000 * seconds) / sound.length));
    place.textContent = `${clock(seconds)} of ${clock(sound.length)}`;
  }
}

function hear(row) {
  if (!row || row.dataset.start === undefined) { vox.tell("There is no sound for this."); return; }
  sound.play(Number(row.dataset.start), Number(row.dataset.end));
}

document.addEventListener("sound-at", (event) => move(event.detail));
document.addEventListener("sound-stopped", () => { if (playButton) playButton.textContent = "▶ Play from here"; });
playButton?.addEventListener("click", () => {
  if (sound.playing()) { sound.stop(); return; }
  playButton.textContent = "■ Stop";
  sound.play(at + sound.before, at + 30);
});
document.getElementById("outline")?.addEventListener("click", (event) => {
  const box = event.currentTarget.querySelector("svg").getBoundingClientRect();
  if (event.clientY > box.bottom) return;
  move(Math.max(0, Math.min(1, (event.clientX - box.left) / box.width)) * sound.length);
  sound.play(at + sound.before, at + 15);
});
for (const place_ of ["transcript", "strip"]) document.getElementById(place_).addEventListener("click", (event) => {
  const word = event.target.closest(".w[data-start]");
  if (word) sound.play(Number(word.dataset.start), Number(word.dataset.end) + 2);
});

// --- deciding ---------------------------------------------------------------------------------------------------

async function refresh(keep) {
  const answer = await fetch(`/cases/${work.dataset.case}/work`, { headers: { "X-CSRF-Token": vox.csrf } });
  if (!answer.ok) { location.reload(); return; }
  work.innerHTML = await answer.text();
  const outline = document.getElementById("outline"), drawn = document.getElementById("new-outline");
  if (outline) outline.replaceChildren(drawn.content);
  drawn.remove();
  const again = keep && document.getElementById(keep);
  choose(again || rows()[0] || null, Boolean(again));
}

async function decide(body, said) {
  const list = rows(), index = list.indexOf(chosen);
  const next = list.slice(index + 1).find((row) => row.id && row.dataset.fact !== chosen?.dataset.fact);
  await vox.call("POST", `${path}/decisions`, { ...body, seen: seen() });
  await refresh(chosen?.id && body.action !== "accept" ? chosen.id : next?.id || chosen?.id);
  vox.tell(said);
}

const guarded = (work_) => work_().catch((problem) => { vox.tell(problem.message); if (/meantime|any more|no longer/.test(problem.message)) refresh(chosen?.id); });

// Asks in the dialog; `fields` are {name, label, value, hint, choices}. `done` gets what was typed and may throw.
function ask(title, heard, fields, action, done) {
  document.getElementById("decide-title").textContent = title;
  decideForm.querySelector(".heard").textContent = heard;
  decideForm.querySelector("button.main").textContent = action;
  vox.problem(decideForm, "");
  const box = decideForm.querySelector(".fields");
  box.replaceChildren(...fields.map((field) => {
    const label = document.createElement("label");
    label.append(field.label);
    if (field.hint) {
      const hint = document.createElement("span");
      hint.className = "quiet";
      hint.textContent = ` ${field.hint}`;
      label.append(hint);
    }
    let input;
    if (field.choices?.length) {
      input = document.createElement("select");
      input.append(...field.choices.map(([value, text]) => new Option(text, value, value === field.value, value === field.value)));
    } else {
      input = document.createElement("input");
      input.type = field.type || "text";
      if (input.type === "checkbox") input.checked = false; else input.value = field.value || "";
      input.autocomplete = "off";
    }
    input.name = field.name;
    input.dataset.was = field.value || "";
    label.append(input);
    return label;
  }));
  finish = done;
  dialog.showModal();
  const first = box.querySelector("input, select");
  first?.focus();
  if (first?.select) first.select();
}

decideForm.addEventListener("submit", async (event) => {
  if (event.submitter?.value === "cancel") return;
  event.preventDefault();
  const inputs = [...decideForm.querySelectorAll(".fields input, .fields select")];
  try {
    await finish(Object.fromEntries(inputs.map((input) => [input.name, input.type === "checkbox" ? input.checked : input.value])), inputs);
    dialog.close();
  } catch (problem) {
    vox.problem(decideForm, problem.message);
  }
});

const acts = {
  play: hear,
  accept: (row) => row.dataset.fact && guarded(() => decide({ action: "accept", fact: row.dataset.fact }, "Accepted.")),
  async correct(row) {
    if (!row.dataset.fact) return;
    const fact = row.dataset.fact;
    const fields = await vox.call("GET", `${path}/facts/${fact}/fields`);
    ask(`Correct: ${row.dataset.label}`, `Said: “${row.dataset.heard}”`, [...fields, { name: "reason", label: "Reason", hint: "may stay empty", value: "" }], "Correct", async (_, inputs) => {
      const changed = inputs.filter((input) => input.name !== "reason" && input.value !== input.dataset.was);
      if (!changed.length) throw new Error("Nothing was changed. Change a value, or leave it.");
      const reason = inputs.find((input) => input.name === "reason").value;
      for (const input of changed) {
        const answer = await vox.call("POST", `${path}/decisions`, { action: "correct", fact, attribute: input.name, value: input.value, reason, seen: seen() });
        work.querySelector(".standing-line").dataset.seen = answer.seen;
        input.dataset.was = input.value;
      }
      await refresh(row.id);
      vox.tell("Corrected; the checks were made again.");
    });
  },
  reject(row) {
    if (!row.dataset.fact) return;
    const fields = [{ name: "reason", label: "Why is it wrong?", value: "" }];
    if (row.dataset.group === "1") fields.push({ name: "whole", label: "Reject all of this entry", type: "checkbox" });
    ask(`Reject: ${row.dataset.label}`, `Said: “${row.dataset.heard}”`, fields, "Reject", (typed) =>
      decide({ action: "reject", fact: row.dataset.fact, reason: typed.reason, whole: Boolean(typed.whole) }, "Rejected. It stands in the list of rejected values."));
  },
  ask(row) {
    ask(`Ask the surgeon: ${row.dataset.label}`, row.dataset.heard ? `Said: “${row.dataset.heard}”` : "", [
      { name: "reason", label: "Question", value: "" },
      { name: "to", label: "To", value: "", choices: [["", "every surgeon"], ...JSON.parse(work.querySelector(".standing-line").dataset.surgeons)] },
    ], "Ask", (typed) =>
      decide({ action: "ask", target: row.dataset.fact || row.dataset.target, reason: typed.reason, to: typed.to }, "Asked: it stands on the surgeon's page of questions."));
  },
  settle(row) {
    if (!row.dataset.target) return;
    ask("Why may this stand?", row.dataset.label, [{ name: "reason", label: "Reason", value: "" }], "Settle", (typed) =>
      decide({ action: "settle", target: row.dataset.target, reason: typed.reason }, "Settled with a reason."));
  },
};
const add = () => ask("Add what was not said", "It is marked as added by you, with the time and your reason, wherever the note goes. It has no sound.", [
  { name: "value", label: "What", hint: "as it would be said: Estimated blood loss 50 mL.", value: "" },
  { name: "reason", label: "Where is it known from?", value: "" },
], "Add", (typed) => decide({ action: "add", value: typed.value, reason: typed.reason }, "Added, and marked as not said; the checks were made again."));
const undo = () => guarded(() => decide({ action: "undo" }, "The last decision is undone."));
const acceptSure = () => guarded(() => decide({ action: "accept-sure" }, "All sure values are accepted."));

work.addEventListener("click", (event) => {
  const row = event.target.closest(".value, .finding");
  if (row) choose(row, false);
  const act = event.target.closest("[data-act]");
  if (act && row) { Promise.resolve(acts[act.dataset.act](row)).catch((problem) => vox.tell(problem.message)); return; }
  if (event.target.closest("#undo")) undo();
  if (event.target.closest("#add")) add();
  if (event.target.closest("#send")) handOver(event.target.closest("#send"), `${path}/delivery`);
  if (event.target.closest("#resume")) handOver(event.target.closest("#resume"), "/api/outbox");
  if (event.target.closest("#accept-sure")) acceptSure();
  const to = event.target.closest("a.to");
  if (to) { event.preventDefault(); const row_ = document.getElementById(to.hash.slice(1)); choose(row_); row_?.scrollIntoView({ block: "center" }); }
});
work.addEventListener("focusin", (event) => {
  const row = event.target.closest(".value, .finding");
  if (row && row !== chosen) choose(row, false);
});
document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-open]");
  if (opener) document.getElementById(opener.dataset.open).showModal();
});

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || document.querySelector("dialog[open]")) return;
  if (event.target.closest("input, textarea, select, [contenteditable]")) return;
  const onButton = event.target.closest("button, a, summary");
  const key = event.key.toLowerCase();
  const run = {
    j: () => step(1), k: () => step(-1), n: nextOpen, u: () => editable() && undo(), i: () => editable() && add(), s: () => editable() && acceptSure(),
    "?": () => document.getElementById("keys").showModal(),
    " ": () => (sound.playing() ? sound.stop() : hear(chosen)),
    a: () => chosen && editable() && acts.accept(chosen), c: () => chosen && editable() && acts.correct(chosen),
    r: () => chosen && editable() && acts.reject(chosen), q: () => chosen && editable() && acts.ask(chosen),
    g: () => chosen && editable() && acts.settle(chosen),
  }[key];
  if (!run || (key === " " && onButton)) return;
  event.preventDefault();
  run();
});

// Sends this note, or all that waits; what became of it stands on the page afterwards.
async function handOver(button, address) {
  button.disabled = true;
  button.textContent = "Sending …";
  let trouble = "";
  try {
    const answer = await vox.call("POST", address);
    if (answer.failed) trouble = answer.failed.map((one) => `${one.what} ${one.do}`).join(" ");
  } catch (problem) { trouble = problem.message; }
  await refresh(chosen?.id);
  if (trouble) vox.problem(document.getElementById("outbox"), trouble);
  else vox.tell("Sent.");
}

// --- identity, signing, amending, codes -------------------------------------------------------------------------

document.getElementById("identify-form").addEventListener("submit", async (event) => {
  if (event.submitter?.value === "cancel") return;
  event.preventDefault();
  const form = event.target;
  const body = Object.fromEntries(["family", "given", "number", "system", "birth_date"].map((name) => [name, form[name].value.trim()]));
  try { await vox.call("PUT", `${path}/patient`, body); location.reload(); } catch (problem) { vox.problem(form, problem.message); }
});

work.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  try {
    if (form.id === "sign") {
      await vox.call("POST", `${path}/signature`, { password: form.password.value, statement: form.statement.value, seen: seen() });
    } else {
      await vox.call("POST", `${path}/amendment`, { reason: form.reason.value });
    }
    location.href = location.pathname;
  } catch (problem) { vox.problem(form, problem.message); }
});

const coding = document.getElementById("coding"), inside = document.getElementById("coding-inside");
async function showCodes() {
  inside.setAttribute("aria-busy", "true");
  const answer = await fetch(`/cases/${work.dataset.case}/coding`);
  inside.innerHTML = answer.ok ? await answer.text() : '<p class="problem">The coding help cannot be shown. Load the page anew.</p>';
  inside.removeAttribute("aria-busy");
}
async function enter(body, form) {
  try {
    await vox.call("POST", `${path}/codes`, { ...body, seen: seen() });
    await refresh(chosen?.id);
    await showCodes();
    vox.tell(body.remove ? "Removed." : "Entered.");
  } catch (problem) { if (form) vox.problem(form, problem.message); else vox.tell(problem.message); }
}
coding.addEventListener("toggle", () => { if (coding.open) showCodes(); });
inside.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-code], button[data-remove]");
  if (!button) return;
  if (button.dataset.code) enter({ kind: "icd-10-cm", code: button.dataset.code, display: button.dataset.display, facts: [button.dataset.fact] });
  else enter({ kind: button.dataset.kind, code: button.dataset.remove, remove: true });
});
inside.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target;
  enter({ kind: form.kind.value, code: form.code.value, display: form.display.value }, form);
});
