// Administration: users.
"use strict";
document.querySelectorAll("[data-user]").forEach((button) => button.addEventListener("click", async () => {
  try {
    await vox.call("PATCH", `/api/users/${button.dataset.user}`, { active: button.dataset.active === "1" });
    location.reload();
  } catch (problem) { vox.tell(problem.message); }
}));
document.getElementById("add-user").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  const roles = [...form.querySelectorAll("[name=roles]:checked")].map((box) => box.value);
  try {
    await vox.call("POST", "/api/users", { name: form.name.value.trim(), full_name: form.full_name.value, password: form.password.value, roles });
    location.reload();
  } catch (problem) { vox.problem(form, problem.message); }
});
