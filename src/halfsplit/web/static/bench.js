// What must happen in the browser: keys, theme, speech, the lost-connection banner, kept focus.
"use strict";
(() => {
  const root = document.documentElement;
  const kept = {
    get: (name) => { try { return localStorage.getItem("halfsplit-" + name); } catch { return null; } },
    set: (name, value) => { try { localStorage.setItem("halfsplit-" + name, value); } catch { /* private window */ } },
  };
  const byId = (id) => document.getElementById(id);

  // -- light and dark: the system's choice until somebody makes one --------------------------------
  const system = matchMedia("(prefers-color-scheme: dark)");
  const dark = () => (kept.get("theme") || (system.matches ? "dark" : "light")) === "dark";
  function paint() {
    root.dataset.theme = dark() ? "dark" : "light";
    const button = byId("theme");
    if (button) {
      button.textContent = dark() ? "Light" : "Dark";
      button.setAttribute("aria-label", dark() ? "Switch to light" : "Switch to dark");
    }
  }
  paint();
  system.addEventListener("change", paint);

  // -- speech: only by a voice that is on this computer, and only when asked for -------------------
  const local = () => (window.speechSynthesis ? speechSynthesis.getVoices() : []).filter((v) => v.localService);
  const aloud = () => kept.get("speech") === "on";
  function speech() {
    const button = byId("speech");
    if (!button) return;
    button.setAttribute("aria-pressed", String(aloud()));
    button.hidden = !local().length;
  }
  if (window.speechSynthesis) speechSynthesis.addEventListener("voiceschanged", speech);
  function say(text) {
    const voice = local().find((v) => v.lang.startsWith("en")) || local()[0];
    if (!voice || !aloud() || !text) return;
    speechSynthesis.cancel();
    const words = new SpeechSynthesisUtterance(
      text.replace(/-(?=[\d.])/g, "minus ").replace(/ V\b/g, " volts").replace(/ mV\b/g, " millivolts"));
    words.voice = voice;
    speechSynthesis.speak(words);
  }

  // -- keys: every element that says which -----------------------------------------------------------
  const typing = (target) => target.closest && target.closest("input, textarea, select, [contenteditable]");
  const shown = (element) => element.getClientRects().length > 0;
  function press(element) {
    if (element.matches("details")) {
      element.open = !element.open;
      element.querySelector("summary").focus();
    } else if (element.matches("input")) {
      element.focus();
      element.select();
    } else if (element.matches("a") || element.id) element.click();
    else element.focus();
  }
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Escape") {
      if (typing(event.target)) {
        last = "";  // before anything is drawn anew, or the focus would be put back
        event.target.blur();
      }
      return;
    }
    if (typing(event.target) || document.querySelector("dialog[open]")) return;
    const found = [...document.querySelectorAll("[data-shortcut]")]
      .find((e) => e.dataset.shortcut === event.key && shown(e));
    if (found) {
      event.preventDefault();
      press(found);
    }
  });
  function help() {
    const dialog = document.createElement("dialog");
    dialog.className = "keys";
    dialog.setAttribute("aria-label", "Keys");
    const title = dialog.appendChild(document.createElement("h2"));
    title.textContent = "Keys";
    const list = dialog.appendChild(document.createElement("dl"));
    const rows = [...document.querySelectorAll("[data-shortcut]")].filter(shown)
      .map((e) => [e.dataset.shortcut, e.dataset.says || e.textContent]);
    for (const more of document.querySelectorAll("[data-more-keys]")) rows.push(...JSON.parse(more.dataset.moreKeys));
    rows.push(["Enter", "store what is in the field"], ["Esc", "leave the field, so that keys work"],
      ["Tab", "the next thing that can be pressed"]);
    for (const [key, says] of rows) {
      const row = list.appendChild(document.createElement("div"));
      const term = row.appendChild(document.createElement("dt"));
      term.appendChild(document.createElement("kbd")).textContent = key;
      row.appendChild(document.createElement("dd")).textContent = says;
    }
    const close = dialog.appendChild(document.createElement("button"));
    close.textContent = "Close";
    close.addEventListener("click", () => dialog.close());
    // This comes a moment after the dialog is gone, when a key may have moved the focus already.
    dialog.addEventListener("close", () => {
      dialog.remove();
      if (document.activeElement === document.body) byId("keys").focus();
    });
    document.body.appendChild(dialog);
    dialog.showModal();
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("button");
    if (!button) return;
    if (button.id === "theme") {
      kept.set("theme", dark() ? "light" : "dark");
      paint();
    } else if (button.id === "speech") {
      kept.set("speech", aloud() ? "off" : "on");
      speech();
      say("said aloud from now on");
    } else if (button.id === "keys") help();
  });

  // -- the reading field empties itself once its text is stored, unless somebody typed on --------------
  window.halfsplit = {
    stored(text) {
      const field = document.querySelector("input[data-key=reading]");
      if (!field || field.value !== text) return;
      field.value = "";
      field.dispatchEvent(new Event("input", { bubbles: true }));
    },
  };

  // -- what is drawn anew keeps the focus that was in it, and what was said is said aloud -----------
  let last = "";
  document.addEventListener("pointerdown", (event) => {
    if (!event.target.closest("[data-key]")) last = "";
  });
  document.addEventListener("focusin", (event) => {
    const holder = event.target.closest("[data-key]");
    last = holder ? holder.dataset.key : "";
  });
  // Whoever left it on purpose (Esc, a tap beside it) is not put back into it; only what was taken
  // out of the page under the focus is looked for again.
  document.addEventListener("focusout", (event) => {
    const left = event.target;
    setTimeout(() => {
      if (left.isConnected && document.activeElement === document.body) last = "";
    });
  });
  // The framework names a list of its own for every field; ours is the one the page has.
  const lists = () => document.querySelectorAll("input[data-list]").forEach((field) => {
    if (field.getAttribute("list") !== field.dataset.list) field.setAttribute("list", field.dataset.list);
  });
  let spoken = null;
  function look() {
    lists();
    if (last && (!document.activeElement || document.activeElement === document.body)) {
      const again = document.querySelector(`[data-key="${CSS.escape(last)}"]`);
      if (again) (again.matches("details") ? again.querySelector("summary") : again).focus();
    }
    const said = byId("said");
    const text = said ? said.textContent : "";
    if (spoken !== null && text !== spoken) say(text);
    spoken = text;
    const lost = byId("popup"), banner = byId("connection");
    if (lost && banner) banner.hidden = lost.getAttribute("aria-hidden") !== "false";
    if (byId("theme") && !byId("theme").hasAttribute("aria-label")) { paint(); speech(); }
  }
  document.addEventListener("DOMContentLoaded", () => {
    new MutationObserver(look).observe(document.body, {
      childList: true, subtree: true, characterData: true, attributes: true, attributeFilter: ["aria-hidden"],
    });
    look();
  });
})();
