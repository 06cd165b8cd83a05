// Plays pieces of the recording and lights the words as they sound.
"use strict";

const sound = {
  audio: new Audio(),
  from: 0,
  words: [],
  before: 0.5,
  after: 0.35,

  setUp(work) {
    sound.path = `/api/cases/${work.dataset.case}/sound`;
    sound.length = Number(work.dataset.length);
    sound.there = work.dataset.sound === "1";
    sound.audio.addEventListener("ended", () => sound.stop());
    const follow = () => {
      if (!sound.audio.paused) { sound.show(sound.from + sound.audio.currentTime); requestAnimationFrame(follow); }
    };
    sound.audio.addEventListener("playing", follow);
  },

  // Plays from half a second before `start` to a little after `end` (seconds); resolves when it sounds.
  async play(start, end) {
    if (!sound.there) { vox.tell("The recording is not stored with this case."); return; }
    sound.stop();
    sound.words = [...document.querySelectorAll(".w[data-start]")].map((element) => ({
      element, start: Number(element.dataset.start), end: Number(element.dataset.end),
    }));
    sound.from = Math.max(0, start - sound.before);
    const until = Math.min(sound.length || end + 1, end + sound.after);
    sound.audio.src = `${sound.path}?start=${sound.from.toFixed(2)}&end=${until.toFixed(2)}`;
    document.body.dataset.playing = "1";
    try {
      await sound.audio.play();
    } catch {
      sound.stop();
      vox.tell("The sound cannot be played. Load the page anew, or sign in again.");
    }
  },

  stop() {
    sound.audio.pause();
    delete document.body.dataset.playing;
    document.querySelectorAll(".w.lit").forEach((element) => element.classList.remove("lit"));
    document.dispatchEvent(new Event("sound-stopped"));
  },

  playing() { return !sound.audio.paused && !sound.audio.ended; },

  show(seconds) {
    for (const word of sound.words) {
      word.element.classList.toggle("lit", word.start <= seconds && seconds < Math.max(word.end, word.start + 0.12));
    }
    document.dispatchEvent(new CustomEvent("sound-at", { detail: seconds }));
  },
};
