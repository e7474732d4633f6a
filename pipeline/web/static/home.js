"use strict";
// Recordings go up in pieces; a piece that broke off is gone on with from where it arrived.

const PIECE = 8 * 1024 * 1024;
const WAITS = [1, 2, 4, 8, 15, 30];
const rest = (seconds) => new Promise((done) => setTimeout(done, seconds * 1000));
let underWay = 0;

function row(name) {
  const item = document.createElement("li");
  const label = document.createElement("span");
  label.textContent = name;
  const bar = document.createElement("progress");
  bar.max = 100;
  bar.value = 0;
  bar.setAttribute("aria-label", `Sent of ${name}`);
  const note = document.createElement("span");
  note.className = "detail";
  item.append(label, " ", bar, " ", note);
  document.getElementById("sending").append(item);
  return { item, bar, note };
}

async function patiently(work, note) {
  for (let turn = 0; ; turn += 1) {
    try { return await work(); } catch (fault) {
      if (fault instanceof Refusal && fault.status < 500) throw fault;
      if (turn >= WAITS.length * 3) throw fault;
      note.textContent = "The connection is gone. Trying again; nothing is lost.";
      await rest(WAITS[Math.min(turn, WAITS.length - 1)]);
    }
  }
}

async function send(file, batch, oneJob) {
  const { item, bar, note } = row(file.name);
  if (file.type.startsWith("image/")) {
    bar.remove();
    item.classList.add("failed");
    note.textContent = "A picture belongs to one job: open that job and add it under Pictures.";
    say(`${file.name}: ${note.textContent}`);
    return;
  }
  underWay += 1;
  try {
    const begun = await patiently(() => post("/uploads", { name: file.name, size: file.size, modified: file.lastModified }), note);
    let at = 0;
    while (at < file.size) {
      const from = at;
      const told = await patiently(async () => {
        const known = await ask(`/uploads/${begun.id}`);
        const start = Math.min(known.received, file.size);
        if (start >= from + PIECE || start === file.size) return known;
        return ask(`/uploads/${begun.id}?at=${start}`, { method: "PUT", body: file.slice(start, start + PIECE) });
      }, note);
      at = told.received;
      bar.value = Math.round((100 * at) / file.size);
      note.textContent = `${bar.value} %`;
    }
    const asked = { batch, one_job: oneJob, hearing: document.getElementById("quick").checked ? "quick" : "careful" };
    const done = await patiently(() => post(`/uploads/${begun.id}/done`, asked), note);
    note.textContent = "";
    const link = document.createElement("a");
    link.href = `/jobs/${done.job}`;
    link.textContent = done.known ? "Already here: open its job" : "Safe on this machine";
    note.append(link);
    say(`${file.name}: ${link.textContent}`);
  } catch (fault) {
    item.classList.add("failed");
    note.textContent = fault instanceof Refusal ? fault.message : "The program cannot be reached. Give the file again; what was sent is kept.";
    say(`${file.name}: ${note.textContent}`);
  } finally { underWay -= 1; }
}

async function sendAll(files) {
  const batch = newId();
  const oneJob = document.getElementById("one-job").checked;
  // One after the other: the order is that of the day, and a phone's connection is not split.
  for (const file of files) await send(file, batch, oneJob);
  follow(true);
}

document.getElementById("files").addEventListener("change", (event) => {
  const files = Array.from(event.target.files);
  event.target.value = "";
  sendAll(files);
});
addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("over"); });
addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("over"); });
addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  if (event.dataTransfer.files.length) sendAll(Array.from(event.dataTransfer.files));
});
addEventListener("beforeunload", (event) => { if (underWay) event.preventDefault(); });

// The list follows the work: only what changed is drawn anew, by fetching the page when a state changes.
async function follow(once) {
  let told;
  try { told = await ask("/states"); } catch { return; }
  let stale = false;
  for (const job of told.jobs) {
    const item = document.querySelector(`[data-job="${job.id}"]`);
    if (!item || item.dataset.state !== job.state) { stale = true; continue; }
    if (job.state !== "hearing") continue;
    item.querySelector("[data-part=percent]").textContent = job.percent;
    item.querySelector("[data-part=left]").textContent = job.left;
    item.querySelector("progress").value = job.percent;
  }
  if (stale && !underWay) {
    const reply = await fetch(location.href);
    const fresh = new DOMParser().parseFromString(await reply.text(), "text/html");
    const here = document.activeElement && document.activeElement.closest("[data-job]");
    document.getElementById("jobs").replaceWith(fresh.getElementById("jobs"));
    const again = here && document.querySelector(`[data-job="${here.dataset.job}"] a`);
    if (again) again.focus();
    say("The list has changed.");
  }
  if (!once) return;
}
setInterval(() => { if (!document.hidden) follow(false); }, 2000);
