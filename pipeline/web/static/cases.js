// The list of cases: opening one, sending a recording, waiting until it is heard.
"use strict";

async function fill(form, id) {
  const recording = form.recording.files[0];
  if (recording) {
    await vox.upload(`/api/cases/${id}/recording`, recording, (part) => vox.tell(`Sending: ${Math.round(100 * part)} %`));
  } else if (form.narration.value.trim()) {
    vox.tell("Making the note …");
    await vox.call("POST", `/api/cases/${id}/narration`, { text: form.narration.value });
  }
}

async function submit(event, work) {
  event.preventDefault();
  const form = event.target, button = form.querySelector("button.main");
  vox.problem(form, "");
  button.disabled = true;
  try {
    await work(form);
  } catch (problem) {
    vox.problem(form, problem.message);
    button.disabled = false;
  }
}

const newCase = document.getElementById("new-case");
newCase?.addEventListener("submit", (event) => submit(event, async (form) => {
  const typed = Object.fromEntries(["family", "given", "number", "system", "birth_date"].map((name) => [name, form[name].value.trim()]));
  const patient = Object.values(typed).some(Boolean) ? typed : null;
  form.dataset.made ||= (await vox.call("POST", "/api/cases", { label: form.label.value, patient })).id;
  const id = form.dataset.made;
  if (form.context.files[0]) await vox.upload(`/api/cases/${id}/context`, form.context.files[0], () => {});
  await fill(form, id);
  location.href = `/cases/${id}`;
}));

const fillCase = document.getElementById("fill-case");
fillCase?.addEventListener("submit", (event) => submit(event, async (form) => {
  await fill(form, form.dataset.case);
  location.reload();
}));

const waiting = document.getElementById("waiting");
if (waiting?.dataset.state === "listening") {
  const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
  setInterval(async () => {
    const state = await vox.call("GET", `/api/cases/${waiting.dataset.case}`).catch(() => null);
    if (!state) return;
    if (state.state !== "listening") location.reload();
    if (state.length) {
      waiting.querySelector("progress").value = (100 * state.seconds) / state.length;
      waiting.querySelector(".far").textContent = `${clock(state.seconds)} of ${clock(state.length)} heard`;
    }
  }, 1000);
}
