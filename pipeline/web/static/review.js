"use strict";
// The review: each change is sent at once, kept in a row while the connection is gone, and the page drawn anew from the answer.

const work = document.getElementById("work");
const job = work.dataset.job;
const queue = [];
let sending = false;
let chosen = null;
let here = null;
let fresh = null;

// Sending

function send(body, after) {
  queue.push({ body: { id: newId(), ...body }, after });
  drain();
}

async function drain() {
  if (sending) return;
  sending = true;
  while (queue.length) {
    const { body, after } = queue[0];
    try {
      const told = await post(`/jobs/${job}/edits`, { ...body, seen: Number(work.dataset.seen), draft: work.dataset.draft, has: has() });
      queue.shift();
      alarm("");
      if (body.do === "heard" && body.now.how === "sound") drawLater(told, body.handle);
      else draw(told, after);
      if (body.do !== "heard") say(queue.length ? `Saving, ${queue.length} to go` : "Saved");
    } catch (fault) {
      if (fault instanceof Refusal && fault.status < 500) {
        queue.shift();
        if (body.do !== "heard") tell(fault);
        if (fault.status === 409) await catchUp();
        continue;
      }
      alarm(`Not saved yet: the program cannot be reached. Trying again; ${queue.length} ${queue.length === 1 ? "change waits" : "changes wait"} on this page.`);
      await new Promise((done) => setTimeout(done, 2000));
    }
  }
  sending = false;
}

async function catchUp() {
  try { draw(await ask(`/jobs/${job}/work`)); } catch { /* the next change says it */ }
}
addEventListener("beforeunload", (event) => { if (queue.length) event.preventDefault(); });

// The pieces of the page that stand here, by the digests that they came with: only others are sent.
function has() {
  return Object.fromEntries(Array.from(work.querySelectorAll(".piece"), (piece) => [piece.id.slice(6), piece.dataset.digest]));
}

function put(name, { digest, html }) {
  const piece = document.getElementById(`piece-${name}`);
  piece.innerHTML = html;
  piece.dataset.digest = digest;
}

// What was only listened to leaves the list at the next step, not from under the ear of whoever listens.
function drawLater(told, handle) {
  work.dataset.seen = told.seen;
  work.dataset.draft = told.draft;
  fresh = told;
  if (told.pieces.bar) put("bar", told.pieces.bar);
  work.querySelectorAll(`.slip[data-handle="${CSS.escape(handle)}"]`).forEach((slip) => {
    slip.dataset.heard = "1";
    delete slip.dataset.must;
    const line = slip.querySelector(".must");
    if (line) line.textContent = line.textContent.replace("Must be heard:", "Heard:");
  });
}

function draw(told, after) {
  fresh = null;
  work.dataset.seen = told.seen;
  work.dataset.draft = told.draft;
  const field = document.activeElement && document.activeElement.closest("#work") ? document.activeElement : null;
  const held = field && field.id && { id: field.id, from: field.selectionStart, to: field.selectionEnd };
  const openForms = Array.from(work.querySelectorAll("form.fields:not([hidden])[id]"), (form) => [form.id, new FormData(form), form.closest(".slip"), form]);
  const hereId = here ? here.id : null;
  const order = list().map((slip) => slip.id);
  for (const [name, piece] of Object.entries(told.pieces)) put(name, piece);
  for (const [id, values, was, form] of openForms) {
    const closes = after && after.closes === id;
    if (form.isConnected) { if (closes) open(form, false); continue; }
    if (closes) continue;
    const slip = was && document.getElementById(was.id);
    const anew = document.getElementById(id) || (slip && correct(slip));
    if (!anew) continue;
    open(anew, true);
    for (const [name, value] of values) if (anew.elements[name]) anew.elements[name].value = value;
  }
  here = hereId && document.getElementById(hereId);
  if (after && after.next) { step(after.from, order); return; }
  if (here) here.classList.add("here");
  // Whoever was typing goes on typing where he was, with what he had selected.
  const back = held && document.getElementById(held.id);
  if (back && back.closest("form") && !back.closest("form").hidden) {
    back.focus({ preventScroll: true });
    if (held.from !== null && held.from !== undefined) try { back.setSelectionRange(held.from, held.to); } catch { /* a list has no such thing */ }
  } else if (here && (!document.activeElement || document.activeElement === document.body || closedUnder(field))) go(here, false);
}

function closedUnder(field) { return field !== null && (!field.isConnected || field.closest("form[hidden]") !== null); }

// Where I am

function list() { return Array.from(work.querySelectorAll("section .slip")); }
function firsts() { return list().filter((slip) => slip.id.startsWith("n-") || slip.id.startsWith("conflict-") || slip.id.startsWith("unheard-") || slip.id.match(/^g\d+$/)); }

function go(slip, playing) {
  work.querySelectorAll(".slip.here").forEach((other) => other.classList.remove("here"));
  here = slip;
  if (!slip) return;
  slip.classList.add("here");
  slip.focus({ preventScroll: true });
  lineOf(slip);
  const deck = document.getElementById("deck");
  const top = deck.hidden ? 0 : deck.getBoundingClientRect().bottom;
  const box = slip.getBoundingClientRect();
  if (box.top < top + 8 || box.bottom > innerHeight) scrollBy({ top: box.top - top - 16, behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  if (playing && document.getElementById("follow").checked) playOf(slip);
}

// Marks the line in which an entry was said, and brings it into sight in its own column.
function lineOf(slip) {
  work.querySelectorAll(".line.at").forEach((line) => line.classList.remove("at"));
  const button = slip.querySelector("[data-play]");
  if (!button) return;
  const [recording, start] = button.dataset.play.split(",").map(Number);
  const line = Array.from(work.querySelectorAll(`.line[data-recording="${recording}"]`))
    .filter((one) => Number(one.dataset.start) <= start + 0.1).pop();
  if (!line) return;
  line.classList.add("at");
  const column = document.getElementById("words");
  if (column.scrollHeight > column.clientHeight) column.scrollTop = line.offsetTop - column.clientHeight / 3;
}

// To the next thing that needs somebody, after the place where `fromId` stood before it went.
function step(fromId, order) {
  const open_ = firsts();
  if (!open_.length) { go(null); document.getElementById("count").focus(); return; }
  const was = order.indexOf(fromId);
  const later = open_.find((slip) => slip.id !== fromId && order.indexOf(slip.id) > was);
  go(later || open_[0], true);
}

function move(by) {
  if (fresh && here && by > 0) { draw(fresh, { next: true, from: here.id }); return; }
  const all = firsts();
  if (!all.length) { say("Nothing here asks for you."); return; }
  const at = all.indexOf(here);
  go(all[at < 0 ? (by > 0 ? 0 : all.length - 1) : (at + by + all.length) % all.length], true);
}

work.addEventListener("focusin", (event) => {
  const slip = event.target.closest(".slip");
  if (slip && slip !== here) {
    work.querySelectorAll(".slip.here").forEach((other) => other.classList.remove("here"));
    slip.classList.add("here");
    here = slip;
    lineOf(slip);
  }
});

// Sound

function playOf(slip) {
  const button = slip && slip.querySelector("button.play");
  if (button) press(button);
}

function press(button) {
  const [recording, start, end] = button.dataset.play.split(",").map(Number);
  const slip = button.closest(".slip");
  const handle = slip && slip.dataset.handle;
  const told = handle && slip.dataset.kind === "reading" && !slip.dataset.heard;
  Sound.play(recording, start, end, button, told ? () => {
    slip.dataset.heard = "1";
    send({ do: "heard", handle, now: { how: "sound" } });
  } : null);
}

// What buttons and forms do

function values(form) {
  const now = {};
  for (const [name, value] of new FormData(form)) now[name] = value;
  return now;
}

function open(form, on) {
  form.hidden = !on;
  const slip = form.closest(".slip");
  const button = document.querySelector(`[data-open="${form.id}"]`) || (slip && slip.querySelector("[data-correct]"));
  if (button) button.setAttribute("aria-expanded", on ? "true" : "false");
}

// The form for correcting an entry, made when it is first wanted and filled with what stands.
function correct(slip) {
  const there = slip.querySelector("form[data-send=change]");
  if (there) return there;
  const made = document.getElementById(`correct-${slip.dataset.kind}`).content.cloneNode(true);
  const form = made.querySelector("form");
  form.id = `${slip.id}-form`;
  form.querySelectorAll("[id]").forEach((field) => { field.id = field.id.replace("ID", slip.id); });
  form.querySelectorAll("[for]").forEach((label) => { label.htmlFor = label.htmlFor.replace("ID", slip.id); });
  for (const [name, value] of Object.entries(JSON.parse(slip.dataset.values))) if (form.elements[name]) form.elements[name].value = value;
  slip.append(form);
  open(form, false);
  return form;
}

function act(button) {
  const data = button.dataset;
  const slip = button.closest(".slip");
  const handle = slip && slip.dataset.handle;
  const next = { next: true, from: slip && slip.id };
  const first = slip && slip.id.startsWith("n-");
  if (data.do === "accept") send({ do: "accept", handle }, first ? next : null);
  else if (data.do === "choose") send({ do: "choose", handle, now: { choice: Number(data.choice) } }, first ? next : null);
  else if (data.do === "role") send({ do: "change", handle, now: { role: data.role } }, first ? next : null);
  else if (data.do === "delete") send({ do: "delete", handle }, first ? next : null);
  else if (data.do === "heard") send({ do: "heard", handle, now: { how: data.how } });
  else if (data.do === "link") send({ do: "link", handle, now: { as: data.as } });
  else if (data.do === "waive") send({ do: "waive", gap: slip.dataset.gap }, next);
  else if (data.do === "settle") send({ do: "settle", conflict: Number(slip.dataset.conflict), keep: data.keep }, next);
  else if (data.do === "review") send({ do: "review", review: data.review });
  else if (data.do === "undo" || data.do === "redo") send({ do: data.do });
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const data = button.dataset;
  if (data.play) press(button);
  else if (data.do) act(button);
  else if (data.open || "correct" in data) {
    const form = data.open ? document.getElementById(data.open) : correct(button.closest(".slip"));
    open(form, form.hidden);
    if (!form.hidden) form.querySelector("input, select").focus();
  } else if ("close" in data) {
    const form = button.closest("form");
    open(form, false);
    go(button.closest(".slip") || null, false);
  } else if (data.place) {
    chosen = { unplaced: Number(data.place) };
    choose("Make a figure of what was heard", "reading");
  } else if (data.words) wordsTo(data.words);
  else if ("sendPapers" in data) {
    try { draw(await post(`/jobs/${job}/send`, { seen: Number(work.dataset.seen), draft: work.dataset.draft })); say("Kept as sent"); } catch (fault) { tell(fault); }
  }
});

// Pictures go up one after the other, each drawn anew there; the page shows each as soon as it is kept.
document.addEventListener("change", async (event) => {
  if (event.target.id !== "pictures") return;
  const files = Array.from(event.target.files);
  let kept = 0;
  for (const file of files) {
    say(`Sending picture ${kept + 1} of ${files.length}`);
    try {
      draw(await ask(`/jobs/${job}/pictures`, { method: "POST", body: file, headers: { Accept: "application/json", "Content-Type": "application/octet-stream" } }));
      kept += 1;
    } catch (fault) { tell(fault); break; }
  }
  if (kept) say(kept === 1 ? "Picture kept" : `${kept} pictures kept`);
});

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-send]");
  if (!form) return;
  event.preventDefault();
  const slip = form.closest(".slip");
  const kind = form.dataset.send;
  if (kind === "change") {
    const next = slip.id.startsWith("n-");
    send({ do: "change", handle: slip.dataset.handle, now: values(form) }, { closes: form.id, next, from: slip.id });
  } else if (kind === "answer") send({ do: "answer", gap: slip.dataset.gap, now: values(form) }, { next: true, from: slip.id });
  else if (kind === "words") { send({ do: "words", words: chosen.words, text: form.elements.text.value }); choose(null); }
  else if (kind === "add") {
    const body = { do: "add", kind: form.dataset.new, fact: values(form) };
    if (form.closest("#chosen") && chosen) Object.assign(body, chosen.words ? { words: chosen.words } : { unplaced: chosen.unplaced });
    send(body, { closes: form.id });
    choose(null);
    form.reset();
  }
});

// Choosing words

function choose(text, form) {
  const panel = document.getElementById("chosen");
  panel.hidden = text === null;
  panel.querySelectorAll("form").forEach((other) => { other.hidden = true; });
  work.querySelectorAll(".picked").forEach((word) => word.classList.remove("picked"));
  if (text === null) { chosen = null; return; }
  document.getElementById("chosen-text").textContent = text;
  if (form) openWords(form);
}

function pick(line, first, last) {
  const [a, b] = first < last ? [first, last] : [last, first];
  const words = Array.from(line.querySelectorAll("[data-w]")).slice(a, b + 1);
  chosen = { words: { segment: Number(line.dataset.segment), first: a, last: b }, line, anchor: first, end: last };
  const kept = chosen;
  choose(`“${words.map((word) => word.textContent).join(" ")}”`);
  chosen = kept;
  words.forEach((word) => word.classList.add("picked"));
}

work.addEventListener("click", (event) => {
  const word = event.target.closest("[data-w]");
  if (!word) return;
  const line = word.closest(".line");
  const at = Number(word.dataset.w);
  const more = chosen && chosen.line === line && chosen.anchor === chosen.end;
  pick(line, more ? chosen.anchor : at, at);
});

function pickByKey(event, said) {
  const line = said.closest(".line");
  const last = line.querySelectorAll("[data-w]").length - 1;
  const by = event.key === "ArrowRight" ? 1 : -1;
  const on = chosen && chosen.line === line;
  const end = Math.max(0, Math.min(last, on ? chosen.end + by : by > 0 ? 0 : last));
  pick(line, event.shiftKey && on ? chosen.anchor : end, end);
  event.preventDefault();
}

function openWords(name) {
  const panel = document.getElementById("chosen");
  panel.querySelectorAll("form").forEach((form) => { form.hidden = true; });
  const form = document.getElementById(`form-${name}`);
  form.hidden = false;
  const text = document.getElementById("chosen-text").textContent.replace(/[“”]/g, "");
  if (name === "words") form.elements.text.value = text;
  else if (name === "reading") { const figure = text.match(/-?\d+(\.\d+)?/); if (figure && !form.elements.value.value) form.elements.value.value = figure[0]; }
  else { const field = form.elements.text || form.elements.description; if (!field.value) field.value = text; }
  form.querySelector("input").focus();
}

function wordsTo(name) {
  if (name === "leave") { choose(null); return; }
  if (name !== "play") { openWords(name); return; }
  const line = chosen && chosen.line;
  const button = line && line.querySelector(".play");
  if (button) press(button);
}

// Keys: only while nothing is being typed, and only when wanted

const keysOn = document.getElementById("keys-on");
try { keysOn.checked = localStorage.getItem("keys") !== "off"; } catch { /* a private window may keep nothing */ }
keysOn.addEventListener("change", () => { try { localStorage.setItem("keys", keysOn.checked ? "on" : "off"); } catch { /* as above */ } });
const keys = document.getElementById("keys");
document.getElementById("keys-open").addEventListener("click", () => keys.showModal());

const ACTS = {
  n: () => move(1),
  b: () => move(-1),
  " ": () => playOf(here),
  Enter: () => { const yes = here && here.querySelector('[data-do="accept"], [data-do="settle"][data-keep="mine"]'); if (yes) act(yes); else move(1); },
  c: () => { const button = here && here.querySelector("[data-correct]"); if (button) button.click(); else if (here && here.dataset.gap) here.querySelector("input:not([type=hidden]), select").focus(); },
  r: () => { const other = here && here.querySelector('[data-do="role"]'); if (other) act(other); },
  x: () => { const out = here && here.querySelector('[data-do="delete"], [data-do="waive"]'); if (out) act(out); },
  o: () => { const loop = document.getElementById("loop"); loop.checked = !loop.checked; say(loop.checked ? "Over and over" : "Once"); },
  s: () => Sound.stop(),
  z: () => send({ do: "undo" }),
  y: () => send({ do: "redo" }),
  q: () => { const gap = work.querySelector(".slip.gap"); if (gap) go(gap, false); },
  w: () => { const said = work.querySelector(".said"); if (said) said.focus(); },
  "?": () => keys.showModal(),
};

document.addEventListener("keydown", (event) => {
  if (keys.open) return;
  const target = event.target;
  if (event.key === "Escape") {
    const form = target.closest && target.closest(".slip form");
    if (form && form.id) { open(form, false); go(form.closest(".slip"), false); }
    else if (form) go(form.closest(".slip"), false);
    else { Sound.stop(); choose(null); }
    return;
  }
  if (target.closest("input, select, textarea, dialog")) return;
  if (target.classList && target.classList.contains("said") && (event.key === "ArrowRight" || event.key === "ArrowLeft")) { pickByKey(event, target); return; }
  if ((event.ctrlKey || event.metaKey) && !event.altKey && ["z", "y"].includes(event.key.toLowerCase())) {
    event.preventDefault();
    send({ do: event.key.toLowerCase() === "z" && !event.shiftKey ? "undo" : "redo" });
    return;
  }
  if (!keysOn.checked || event.ctrlKey || event.metaKey || event.altKey) return;
  if (target.closest("button, a, summary") && (event.key === " " || event.key === "Enter")) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (/^[1-9]$/.test(key)) {
    const choice = here && here.querySelector(`[data-choice="${Number(key) - 1}"]`);
    if (choice) { act(choice); event.preventDefault(); }
  } else if (ACTS[key]) { ACTS[key](); event.preventDefault(); }
});

// A new hearing that ends while the page is open is drawn when it is there.
if (document.querySelector("[data-again-state=waiting], [data-again-state=hearing]")) {
  setInterval(async () => {
    if (document.hidden || queue.length) return;
    try {
      const told = await ask(`/jobs/${job}/state`);
      if (told.draft !== work.dataset.draft || !told.recordings.some((r) => r.state === "waiting" || r.state === "hearing")) location.reload();
    } catch { /* the next turn asks again */ }
  }, 3000);
}
