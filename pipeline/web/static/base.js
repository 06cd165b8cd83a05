// What every page shares: calls to the API with the form token, and messages that screen readers speak.
"use strict";

const vox = {
  csrf: document.querySelector('meta[name="csrf"]').content,

  // Calls the API; gives the parsed answer, or throws an Error whose text says what is wrong and what to do.
  async call(method, path, body) {
    const options = { method, headers: { "X-CSRF-Token": vox.csrf } };
    if (body instanceof FormData) options.body = body;
    else if (body !== undefined) {
      options.headers["Content-Type"] = "application/json";
      options.body = JSON.stringify(body);
    }
    let answer;
    try {
      answer = await fetch(path, options);
    } catch {
      throw new Error("The server does not answer. Nothing was changed; try again.");
    }
    if (answer.status === 401) {
      location.href = "/sign-in";
      throw new Error("Sign in again.");
    }
    const kind = answer.headers.get("Content-Type") || "";
    const content = kind.includes("application/json") ? await answer.json() : null;
    if (!answer.ok) throw new Error(content ? `${content.what} ${content.do}`.trim() : `The server answered ${answer.status}.`);
    return content;
  },

  // Sends a file and tells how much of it is sent, 0 to 1.
  upload(path, file, told) {
    return new Promise((done, failed) => {
      const request = new XMLHttpRequest();
      const form = new FormData();
      form.append("file", file);
      request.open(path.endsWith("/context") ? "PUT" : "POST", path);
      request.setRequestHeader("X-CSRF-Token", vox.csrf);
      request.upload.addEventListener("progress", (event) => event.lengthComputable && told(event.loaded / event.total));
      request.addEventListener("load", () => {
        if (request.status < 300) return done();
        let content = {};
        try { content = JSON.parse(request.responseText); } catch { /* not ours */ }
        failed(new Error(`${content.what || "The server did not take the file."} ${content.do || ""}`.trim()));
      });
      request.addEventListener("error", () => failed(new Error("The connection was lost while sending. Try again.")));
      request.send(form);
    });
  },

  tell(text) {
    const place = document.getElementById("told");
    place.textContent = text;
    clearTimeout(vox.timer);
    vox.timer = setTimeout(() => { place.textContent = ""; }, 6000);
  },

  problem(form, text) {
    const place = form.querySelector(".problem");
    place.textContent = text;
    place.hidden = !text;
  },
};
