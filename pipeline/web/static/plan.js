"use strict";
// The list from a file goes into the field, where it can be looked at before it is brought.
document.getElementById("file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (!file) return;
  document.getElementById("list").value = await file.text();
  say(`${file.name} is in the field below.`);
});
