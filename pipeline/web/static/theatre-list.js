// Opens a case from the theatre's list and goes to its screen.
"use strict";

const form = document.getElementById("open-case");
if (form) {
  form.system.value = localStorage.getItem("vox.system") || "";
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button.main");
    vox.problem(form, "");
    button.disabled = true;
    try {
      const typed = Object.fromEntries(["family", "given", "number", "system", "birth_date"].map((name) => [name, form[name].value.trim()]));
      const named = ["family", "given", "number", "birth_date"].some((name) => typed[name]);
      form.dataset.made ||= (await vox.call("POST", "/api/cases", { label: form.label.value, patient: named ? typed : null })).id;
      if (form.context.files[0]) await vox.upload(`/api/cases/${form.dataset.made}/context`, form.context.files[0], () => {});
      localStorage.setItem("vox.system", typed.system);
      location.href = `/theatre/${form.dataset.made}`;
    } catch (problem) {
      vox.problem(form, problem.message);
      button.disabled = false;
    }
  });
}
