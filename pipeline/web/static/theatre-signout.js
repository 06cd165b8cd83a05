// The sign-out and the read-back on the theatre screen; theatre.js calls these.
"use strict";

const SIGNED_OUT = { said: ["✓", "Said"], none: ["∅", "None"], "not said": ["○", "Not said"] };

function drawSignOut(item) {
  const line = made("li");
  line.dataset.state = item.state;
  const [sign, words] = SIGNED_OUT[item.state];
  const mark = made("span", sign, "sign");
  mark.setAttribute("aria-hidden", "true");
  line.append(mark, made("span", item.label, "item"), made("span", words, "answer"));
  line.title = item.value ? `${item.full}: ${item.value}` : item.full;
  return line;
}

function drawReadBack() {
  const list = find("readback").querySelector("dl");
  // Side and procedure stand above, very large, on every screen of the case.
  list.replaceChildren(...state.readback.filter((row) => !["Side", "Procedure"].includes(row.label)).map((row) => {
    const block = made("div", "", row.missing ? "missing" : row.unsure.some(Boolean) ? "unsure" : "");
    const value = made("dd");
    row.values.forEach((text, index) => {
      const line = made("span", whole(text));
      if (row.unsure[index]) line.append(made("span", " ▲ unsure", "flag"));
      value.append(line);
    });
    if (row.missing) value.firstChild.prepend("○ ");
    block.append(made("dt", row.label), value);
    return block;
  }));
  const confirmed = find("confirmed");
  confirmed.className = "";
  if (!state.confirmed) confirmed.textContent = "○ Not confirmed yet. Read it out; the team answers “confirmed”.";
  else if (state.confirmed.stale) {
    confirmed.className = "stale";
    confirmed.textContent = `▲ Changed since it was confirmed at ${clock(state.confirmed.at)}. Confirm it again.`;
  } else {
    confirmed.className = "done";
    confirmed.textContent = state.confirmed.how === "spoken"
      ? `✓ Confirmed aloud at ${clock(state.confirmed.at)}: “${state.confirmed.heard}”`
      : `✓ Confirmed by button at ${clock(state.confirmed.at)} of the recording`;
  }
  fit();
}

// All of the read-back in sight at once: the letters shrink until it is, to two thirds at the least.
function fit() {
  const box = find("readback").querySelector(".whole"), list = box.firstElementChild;
  for (let size = 1; size > 0.64; size -= 0.06) {
    list.style.setProperty("--fit", size.toFixed(2));
    if (box.scrollHeight <= box.clientHeight) return;
  }
}
addEventListener("resize", fit);
