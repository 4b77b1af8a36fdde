// The meter by wire: a beep when a reading stood still, and space or a foot switch to take it.
"use strict";
(() => {
  const NAME = "halfsplit-beep", PITCH = 1760, LONG = 0.14; // Hz, s
  let sound = null, heard = null;
  const wanted = () => { try { return localStorage.getItem(NAME) === "on"; } catch { return false; } };
  const byId = (id) => document.getElementById(id);
  const shown = (e) => e && e.getClientRects().length > 0;

  function beep() {
    if (!wanted() || !sound || sound.state !== "running") return;
    const tone = sound.createOscillator(), loud = sound.createGain(), now = sound.currentTime;
    tone.frequency.value = PITCH;
    loud.gain.setValueAtTime(0, now);
    loud.gain.linearRampToValueAtTime(0.3, now + 0.01);
    loud.gain.setValueAtTime(0.3, now + LONG - 0.02);
    loud.gain.linearRampToValueAtTime(0, now + LONG);
    tone.connect(loud).connect(sound.destination);
    tone.start(now);
    tone.stop(now + LONG);
  }
  function wake() { // browsers let a page sound only after somebody pressed something
    if (!wanted()) return;
    try { sound = sound || new AudioContext(); sound.resume(); } catch { sound = null; }
  }
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, wake, true);

  document.addEventListener("click", (e) => {
    const button = e.target.closest && e.target.closest("button");
    if (button && button.id === "beep") {
      try { localStorage.setItem(NAME, wanted() ? "off" : "on"); } catch { /* private window */ }
      wake();
      paint();
      if (sound) sound.resume().then(beep);
    }
  });
  function paint() {
    const button = byId("beep");
    const words = `Beep: ${wanted() ? "on" : "off"}`;
    if (button && button.textContent !== words) {
      button.textContent = words;
      button.setAttribute("aria-pressed", String(wanted()));
    }
  }

  // Space or Enter takes the reading wherever the focus is not on something they press themselves.
  document.addEventListener("keydown", (e) => {
    if ((e.key !== " " && e.key !== "Enter") || e.ctrlKey || e.metaKey || e.altKey || e.repeat) return;
    const take = byId("take");
    if (!shown(take) || document.querySelector("dialog[open]")) return;
    const at = e.target.closest ? e.target : document.body;
    const empty = e.key === " " && at.matches("[data-key=reading]") && !at.value;
    if (!empty && at.closest("button, a, summary, input, textarea, select, [role=application]")) return;
    e.preventDefault();
    take.click();
  });

  let took = false;
  function look() {
    paint();
    const take = byId("take");
    if (shown(take) && !took) { // it began: the foot switch must find the right button under it
      const at = document.activeElement;
      if (!at || at === document.body || at.closest(".by-wire")) take.focus();
    }
    took = shown(take);
    const held = byId("held"), count = held ? held.dataset.held : null;
    if (heard !== null && count !== heard && count !== "0" && count !== null) beep();
    heard = count;
  }
  document.addEventListener("DOMContentLoaded", () => {
    new MutationObserver(look).observe(document.body, {
      childList: true, subtree: true, attributes: true, attributeFilter: ["data-held", "hidden"],
    });
    look();
  });
})();
