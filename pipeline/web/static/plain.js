"use strict";
document.querySelectorAll("[data-print]").forEach((button) => button.addEventListener("click", () => print()));
