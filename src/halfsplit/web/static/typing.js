// Typing a circuit in by keys alone: what completes a field, what goes to the program, what comes back.
"use strict";
(() => {
  const MOST = 40, SHORT = 8, QUIET = 60; // suggestions kept and shown; ms without a key before it is told
  const box = () => document.querySelector("[data-typing]");
  const inputs = () => [...box().querySelectorAll("input[data-typed]")];
  const open = () => inputs().filter((i) => !i.closest("[hidden]"));
  const PATIENCE = 4000; // ms the keys wait for the program to say which fields a line has
  const state = { dirty: false, asked: "", timer: 0, list: null, of: null, at: -1,
    told: 0, shown: 0, due: false, waiting: false, keys: [], patience: 0 };

  function values() {
    const all = inputs();
    return { name: all[0].value, words: all[1].value, ends: all.slice(2).map((i) => i.value) };
  }
  const tell = (what, more) => box().dispatchEvent(new CustomEvent(what, { detail: { ...values(), ...more } }));
  function heardNow() {
    clearTimeout(state.timer);
    if (!state.due || !box()) return;
    state.due = false;
    state.told += 1;
    tell("heard", { turn: state.told });
  }
  function heard() {
    state.due = true;
    clearTimeout(state.timer);
    state.timer = setTimeout(heardNow, QUIET);
  }
  // Which fields come next depends on what the words say. Keys pressed before the program has said
  // so are held, in order, and then go where they were meant.
  const pending = () => state.due || state.told > state.shown;
  function hold() {
    heardNow();
    state.waiting = true;
    clearTimeout(state.patience);
    state.patience = setTimeout(release, PATIENCE);
  }
  function release() {
    clearTimeout(state.patience);
    if (!state.waiting || !box()) return;
    state.waiting = false;
    const keys = state.keys.splice(0);
    keys.unshift(state.first);
    while (keys.length && !state.waiting) {
      const { key, shift } = keys.shift();
      const input = document.activeElement;
      if (!input || !input.matches("input[data-typed]")) return;
      if (act(input, key, shift)) continue;
      if (key.length === 1) {
        input.setRangeText(key, input.selectionStart, input.selectionEnd, "end");
        input.dispatchEvent(new Event("input", { bubbles: true }));
      } else if (key === "Backspace") {
        const from = input.selectionStart === input.selectionEnd ? Math.max(input.selectionStart - 1, 0) : input.selectionStart;
        input.setRangeText("", from, input.selectionEnd, "end");
        input.dispatchEvent(new Event("input", { bubbles: true }));
      }
    }
    state.keys.unshift(...keys);
  }
  function put(all) { // everything at once: an entry of the file, the next line
    const fields = inputs();
    [all.name, all.words, ...fields.slice(2).map((_, k) => (all.ends || [])[k] || "")]
      .forEach((text, k) => { fields[k].value = text; });
    state.dirty = false;
    fields.forEach((i) => i.removeAttribute("aria-invalid"));
    heard();
  }

  // -- suggestions -------------------------------------------------------------------------------
  function words(input) { // the word that is being typed, and what may stand there
    const sort = input.dataset.typed, left = input.value.slice(0, input.selectionStart);
    const lists = JSON.parse(box().dataset.lists), nets = () => JSON.parse(box().dataset.nets);
    const start = left.search(/\S*$/), before = left.slice(0, start).trim().split(/\s+/).filter(Boolean).length;
    if (sort === "name") return null;
    const word = left.slice(start);
    let known = [];
    if (sort === "words") known = before ? lists.types : [...lists.kinds, ...lists.types];
    else if (sort === "net") known = nets();
    else if (sort === "winding") known = before === 1 || before === 2 ? nets() : [];
    else if (sort === "part") known = before ? lists.types : [];
    if (sort === "words" && before) known = [...lists.kinds, ...lists.types];
    return { word, start, end: left.length, known };
  }
  function fitting(found) {
    const w = found.word.toLowerCase();
    const starts = [], holds = [];
    for (const pair of found.known) {
      const name = pair[0].toLowerCase();
      if (name.startsWith(w)) starts.push(pair);
      else if (w.length > 1 && name.includes(w)) holds.push(pair);
    }
    starts.sort((a, b) => (b[0].toLowerCase() === w) - (a[0].toLowerCase() === w));
    return [...starts, ...holds].slice(0, MOST);
  }
  function shut() {
    if (state.of) {
      state.of.setAttribute("aria-expanded", "false");
      state.of.removeAttribute("aria-activedescendant");
      state.of.removeAttribute("aria-controls");
    }
    if (state.list) state.list.remove();
    state.list = state.of = null;
    state.at = -1;
  }
  function suggest(input, all) {
    const found = words(input);
    const fit = found && (found.word || all) ? fitting(found) : [];
    shut();
    if (!fit.length || (fit.length === 1 && fit[0][0] === found.word)) return;
    const list = document.createElement("ul");
    list.className = "t-list"; list.id = "t-list";
    list.setAttribute("role", "listbox");
    list.setAttribute("aria-label", "Suggestions");
    fit.slice(0, all ? MOST : SHORT).forEach(([name, about], k) => {
      const item = list.appendChild(document.createElement("li"));
      item.id = `t-list-${k}`;
      item.setAttribute("role", "option");
      item.setAttribute("aria-selected", "false");
      item.dataset.value = name;
      item.appendChild(document.createElement("b")).textContent = name;
      item.appendChild(document.createElement("span")).textContent = about || "";
      item.addEventListener("pointerdown", (e) => { e.preventDefault(); mark(k); take(); });
    });
    document.body.appendChild(list);
    const at = input.getBoundingClientRect();
    const left = Math.min(at.left, document.documentElement.clientWidth - list.offsetWidth - 8);
    const below = at.bottom + list.offsetHeight < innerHeight || at.top < list.offsetHeight;
    list.style.left = `${Math.max(left, 4) + scrollX}px`;
    list.style.top = `${(below ? at.bottom + 2 : at.top - list.offsetHeight - 2) + scrollY}px`;
    input.setAttribute("aria-expanded", "true");
    input.setAttribute("aria-controls", "t-list");
    state.list = list; state.of = input;
  }
  function mark(k) {
    const items = [...state.list.children];
    state.at = (k + items.length) % items.length;
    items.forEach((i, n) => i.setAttribute("aria-selected", String(n === state.at)));
    state.of.setAttribute("aria-activedescendant", items[state.at].id);
    items[state.at].scrollIntoView({ block: "nearest" });
  }
  function take() { // the suggestion that is marked, in place of the word
    const input = state.of, value = state.list.children[state.at].dataset.value, found = words(input);
    input.setRangeText(value, found.start, found.end, "end");
    state.dirty = true;
    shut();
    heard();
  }

  // -- keys --------------------------------------------------------------------------------------
  function move(input, step) {
    const fields = open(), to = fields[fields.indexOf(input) + step];
    if (to) { to.focus(); to.select(); }
    return Boolean(to);
  }
  function recall(input) {
    const name = input.value.trim();
    if (input.dataset.typed === "name" && name && name !== state.asked) {
      state.asked = name;
      tell("recall", { dirty: state.dirty });
    }
  }
  function picture(event) { // the scan moves while the hands stay on the line
    const sight = document.querySelector("[data-sight]");
    const keys = { ArrowLeft: 1, ArrowRight: 1, ArrowUp: 1, ArrowDown: 1, "+": 1, "=": 1, "-": 1, 0: 1 };
    if (!sight || !event.altKey || event.ctrlKey || event.metaKey || !(event.key in keys)) return false;
    sight.dispatchEvent(new KeyboardEvent("keydown", { key: event.key, shiftKey: event.shiftKey && event.key.startsWith("Arrow") }));
    event.preventDefault();
    return true;
  }
  document.addEventListener("keydown", (event) => {
    if (!box() || picture(event)) return;
    const input = event.target.closest && event.target.closest("input[data-typed]");
    if (!input || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    const held = event.key.length === 1 || ["Tab", "Enter", "Backspace"].includes(event.key);
    if (state.waiting && held) {
      state.keys.push({ key: event.key, shift: event.shiftKey });
      event.preventDefault();
      event.stopPropagation();
    } else if (act(input, event.key, event.shiftKey)) {
      event.preventDefault();
      event.stopPropagation();
    }
  }, true);
  function act(input, key, shift) { // whether the key was one of ours, and is done with
    const sort = input.dataset.typed;
    const next = () => {
      const fields = open(), last = fields[fields.length - 1] === input;
      recall(input);
      if (pending() && (sort === "words" || last)) {
        state.first = { key, shift };
        hold();
        return true;
      }
      return move(input, 1);
    };
    if (key === "Escape") {
      if (!state.list) return false;
      shut();
      return true;
    }
    if (key === "ArrowDown" || key === "ArrowUp") {
      const step = key === "ArrowDown" ? 1 : -1;
      if (sort === "name") tell("walk", { step });
      else if (state.list) mark(state.at < 0 ? (step > 0 ? 0 : -1) : state.at + step);
      else if (step > 0) { suggest(input, true); if (state.list) mark(0); }
      return true;
    }
    if (key === "Tab") {
      if (state.list && state.at >= 0) take();
      shut();
      if (!shift) return next();
      recall(input);
      return move(input, -1);
    }
    if (key === " " && (sort === "name" || sort === "net")) { // neither may hold a space
      shut();
      if (input.value.trim()) next();
      return true;
    }
    if (key === "Enter") {
      if (state.list && state.at >= 0) { take(); return true; }
      shut();
      const rest = inputs().slice(1).some((i) => i.value.trim());
      if (sort === "name" && !rest) { recall(input); move(input, 1); return true; }
      clearTimeout(state.timer);
      state.due = false;
      tell("enter");
      const first = inputs()[0];
      first.focus(); first.select(); // typing may go on while it is written
      return true;
    }
    return false;
  }
  document.addEventListener("input", (event) => {
    const input = event.target.closest && event.target.closest("input[data-typed]");
    if (!input) return;
    if (input.dataset.typed !== "name") state.dirty = true;
    input.removeAttribute("aria-invalid");
    suggest(input, false);
    heard();
  });
  document.addEventListener("focusout", (event) => {
    const input = event.target.closest && event.target.closest("input[data-typed]");
    if (!input) return;
    shut();
    recall(input);
  });

  addEventListener("resize", shut);

  // -- what the program says ----------------------------------------------------------------------
  const same = (a, b) => a.name === b.name && a.words === b.words && a.ends.every((t, k) => t === (b.ends[k] || ""));
  window.halfsplitTyping = {
    shown(turn) { // after the fields have been drawn
      state.shown = Math.max(state.shown, turn);
      setTimeout(() => { if (!pending()) release(); }, 25);
    },
    // An entry of the file, unless somebody typed on; `asked` is what it was asked for.
    fill(asked, all) {
      if (!box() || inputs()[0].value.trim() !== asked || state.dirty) return;
      state.asked = all.name;
      put(all);
      const at = document.activeElement;
      if (at && at.matches("input[data-typed]")) at.select(); // as if it had stood there before
    },
    show(all) { // as asked for by a tap or a walk
      if (!box()) return;
      state.asked = all.name;
      put(all);
      inputs()[0].focus();
      inputs()[0].select();
    },
    written(sent, next) {
      if (!box()) return;
      const now = values();
      if (same(now, sent)) {
        state.asked = "";
        put({ name: next, words: "", ends: [] });
        inputs()[0].focus();
        inputs()[0].select();
        return;
      }
      // Somebody typed on meanwhile: only what was sent and still stands there is taken away.
      inputs().forEach((i, k) => {
        const was = k === 0 ? sent.name : k === 1 ? sent.words : sent.ends[k - 2] || "";
        if (k && i.value === was) i.value = "";
      });
      heard();
    },
    refused(sent, bad) {
      if (!box() || !same(values(), sent)) return;
      inputs().forEach((i) => i.removeAttribute("aria-invalid"));
      const at = inputs()[bad];
      if (!at || at.closest("[hidden]")) return;
      at.setAttribute("aria-invalid", "true");
      at.focus();
      at.select();
    },
    start() {
      inputs().forEach((i) => { if (i.dataset.start && !i.value) i.value = i.dataset.start; });
      state.dirty = inputs().slice(1).some((i) => i.value);
      if (document.activeElement === document.body) { inputs()[0].focus(); inputs()[0].select(); }
      heard();
    },
  };
  let begun = null;
  document.addEventListener("DOMContentLoaded", () => {
    const begin = () => {
      if (box() && box() !== begun && inputs().length) { begun = box(); window.halfsplitTyping.start(); }
    };
    new MutationObserver(begin).observe(document.body, { childList: true, subtree: true });
    begin();
  });
})();
