// Answers to the questions that the signed-in surgeon was asked.
"use strict";

for (const form of document.querySelectorAll(".answer-form")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    try {
      await vox.call("POST", `/api/cases/${form.dataset.case}/decisions`, { action: "answer", target: form.dataset.target, reason: form.reason.value });
      location.reload();
    } catch (problem) { vox.problem(form, problem.message); }
  });
}
