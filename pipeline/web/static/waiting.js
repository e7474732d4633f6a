"use strict";
// The page of a job that has no draft yet: follows the hearing and opens the draft when it is there.

const box = document.getElementById("waiting");
setInterval(async () => {
  if (document.hidden) return;
  let told;
  try { told = await ask(`/jobs/${box.dataset.job}/state`); } catch { return; }
  if (told.draft || told.state !== box.dataset.state) { location.reload(); return; }
  box.querySelectorAll("section").forEach((section, i) => {
    const recording = told.recordings[i];
    const percent = section.querySelector("[data-part=percent]");
    if (!recording || !percent) return;
    percent.textContent = recording.percent;
    section.querySelector("[data-part=left]").textContent = recording.left;
    section.querySelector("progress").value = recording.percent;
  });
}, 2000);
